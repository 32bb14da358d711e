"""`flushcast forecast --changes`: how far off, and what moved."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from phenology.advice.adviser import stop_days
from phenology.advice.forecast_change import ForecastChange, stop_changes
from reports.views.change_text import FIRST_TOLD, changes_text, stops_text
from tests.reports.demo import DAY, FEW, demo_folder, flushcast, own_demo
from tests.reports.opened import read_garden

WEEK_AGO, THEN, NOW = date(2026, 6, 7), date(2026, 6, 29), date(2026, 7, 4)


def test_a_miss_says_how_far_off_it_was():
    text = changes_text([ForecastChange("Elm", "hardened", THEN, NOW, True)], WEEK_AGO)
    assert text.split("\n") == [
        "Since 7 Jun:",
        "Elm: hard at least 5 days later than the 29 Jun forecast, outside its range. The",
        "  looks now count.",
    ]


def test_a_look_that_outlived_the_range_says_by_how_much():
    gone_by = ForecastChange("Elm", "extended", date(2026, 5, 22), THEN, False, "looks", date(2026, 6, 20))
    assert changes_text([gone_by], WEEK_AGO).split("\n") == [
        "Since 7 Jun:",
        "Elm: shoots had not stopped on 20 Jun, 29 days after the 22 May forecast,",
        "  outside its range; now about 29 Jun.",
    ]


def test_trees_that_moved_alike_share_a_line():
    moved = [ForecastChange(f"Elm {k}", "hardened", NOW, THEN, False, "weather") for k in (1, 2)]
    assert changes_text(moved, WEEK_AGO).endswith(
        "Elms 1 and 2: hard about 29 Jun instead of 4 Jul, 5 days earlier, moved by the\n  weather."
    )


def test_no_news_is_said_and_much_news_is_counted():
    assert changes_text([], WEEK_AGO) == "Since 7 Jun: nothing moved by more than a few days."
    many = [
        ForecastChange(f"Old tree {'abcdefghij'[k]}", "budbreak", THEN, NOW, False, "looks")
        for k in range(10)
    ]
    several = [
        ForecastChange(c.label, c.stage, THEN, date(2026, 7, 4 + k), False, c.why) for k, c in enumerate(many)
    ]
    assert changes_text(several, WEEK_AGO).endswith(f"And {10 - FIRST_TOLD} smaller changes.")


def test_the_command_tells_changes_only_when_asked():
    garden = demo_folder(trees=FEW)
    flushcast("forecast", "--garden", garden)  # so that its cautions are said
    plain, asked = (flushcast("forecast", *more, "--garden", garden) for more in ([], ["--changes"]))
    assert asked.returncode == 0, asked.stderr
    assert asked.stdout.startswith(plain.stdout)
    assert "Stop dates moved by " in asked.stdout
    assert "\nSince 7 Jun:" in asked.stdout and "Since" not in plain.stdout
    refused = flushcast("forecast", "--changes", "--json", "--garden", garden)
    assert refused.returncode == 2 and "leave out --json" in refused.stderr


@pytest.mark.parametrize("words", ["hornbeam 1 firm", "crab apple firm", "azalea stopped"])
def test_a_look_says_every_stop_date_that_it_moved(words: str, tmp_path: Path) -> None:
    folder = own_demo(tmp_path, trees=FEW)
    before = read_garden(folder, DAY)[0]
    done = flushcast("look", *words.split(), "--garden", folder)
    assert done.returncode == 0, done.stderr
    after = read_garden(folder, DAY)[0]
    then, now = stop_days(before), stop_days(after)
    changes = list(stop_changes(then, now, after, then))
    assert {c.label for c in changes} == {t.label for t in after.trees if then.get(t.id) != now.get(t.id)}
    assert all(c.why == "looks" for c in changes)
    told = " ".join(done.stderr.split())
    assert ("This moves stop dates:" in told) is bool(changes)
    assert stops_text(changes) in told
