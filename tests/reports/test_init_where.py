"""`flushcast init` by a town's name: found, asked for, or listed; never a network."""

from __future__ import annotations

from pathlib import Path

import pytest

from data_sources.garden import open_journal
from phenology.model.records import Place
from tests.reports.bench import Answer, Bench


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path / "garden")


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody sits at a terminal."""
    for name in ("init_questions", "init_command"):
        monkeypatch.setattr(f"reports.cli.setup.{name}.may_ask", lambda: True)


def init(bench: Bench, *arguments: str, typed: str | None = None) -> Answer:
    answer = bench("init", bench.folder, *arguments, input=typed)
    assert answer.code == 0, answer.err
    return answer


def place(bench: Bench) -> Place:
    with open_journal(bench.folder) as journal:
        return journal.places()[0]


def test_a_town_gives_position_and_zone(bench):
    answer = init(bench, "--town", "Reykjavik", "--elevation", "30")
    assert "Taking Reykjavík, Iceland: 64.14 N" in answer.words
    made = place(bench)
    assert (made.name, made.timezone, made.elevation) == ("Bench", "Atlantic/Reykjavik", 30.0)
    assert (made.latitude, made.longitude) == pytest.approx((64.14, -21.9), abs=0.05)


def test_a_spot_named_like_its_town_needs_no_second_flag(bench):
    init(bench, "--place", "Springfield, OH")
    made = place(bench)
    assert made.name == "Springfield, OH" and made.timezone == "America/New_York"
    assert made.latitude == pytest.approx(39.92, abs=0.05)


def test_with_a_position_the_place_is_only_a_name(bench):
    answer = init(bench, "--place", "Springfield", "--lat", "47.2", "--lon", "8.3")
    assert "Time zone Europe/Zurich, as in Cham." in answer.words
    assert (place(bench).latitude, place(bench).timezone) == (47.2, "Europe/Zurich")


def test_several_towns_are_listed_and_nothing_is_made(bench):
    told = bench.refuses("init", bench.folder, "--town", "Springfield")
    assert "towns called 'Springfield'" in told and "write --lat and --lon" in told
    assert "Springfield (MO), United States: 37.22 N 93.30 W" in told
    assert not bench.folder.exists()


def test_an_unknown_town_is_told_with_near_names(bench):
    assert "Reykjavík" in bench.refuses("init", bench.folder, "--town", "Reykjavic")


def test_a_zone_can_be_said_and_must_exist(bench):
    assert "no time zone 'Here'" in bench.refuses(
        "init", bench.folder, "--town", "Reykjavik", "--timezone", "Here"
    )
    init(bench, "--town", "Reykjavik", "--timezone", "Europe/Dublin")
    assert place(bench).timezone == "Europe/Dublin"


def test_a_zone_from_far_away_says_how_far(bench):
    answer = init(bench, "--lat", "1", "--lon", "1")
    assert "km away; --timezone says another" in answer.words


def test_half_a_position_is_a_usage_error(bench):
    assert bench("init", bench.folder, "--lat", "47.2", "--place", "Reykjavik").code == 2


def test_at_a_terminal_the_town_is_asked_and_which_of_several(bench, asked):
    answer = init(bench, typed="Springfield\n3\n300\n\n")
    assert "3 Springfield (IL), United States" in answer.words
    made = place(bench)
    assert (made.timezone, made.elevation) == ("America/Chicago", 300.0)
    assert made.latitude == pytest.approx(39.8, abs=0.05)


def test_at_a_terminal_an_empty_town_asks_for_the_position(bench, asked):
    init(bench, "--timezone", "Africa/Maseru", typed="\n33.9 S\n18.4\n\n\n")
    made = place(bench)
    assert (made.latitude, made.longitude, made.timezone) == (-33.9, 18.4, "Africa/Maseru")


def test_units_follow_the_country(bench):
    answer = init(bench, "--town", "Worcester, Massachusetts")
    assert "Temperatures (United States) in °F. Change it with: flushcast settings units C" in answer.words
    assert bench.does("settings", "units").out == "F\n"


def test_every_slip_among_trees_is_told_at_once_where_nobody_can_be_asked(bench):
    trees = ["--tree", "A=Acer buergeranum", "--tree", "B=Beech", "--tree", "C=Chinese elm"]
    told = bench.refuses("init", bench.folder, "--lat", "47", "--lon", "8", *trees)
    assert "A: there is no species called 'Acer buergeranum'" in told and "B: 'Beech' fits several" in told
    assert not bench.folder.exists()
