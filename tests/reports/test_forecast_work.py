"""When to stop and what waiting costs, as the forecast tells it."""

from __future__ import annotations

import json
from datetime import date
from functools import cache
from pathlib import Path

import pytest

from tests.reports.demo import FEW, demo_folder, flushcast, own_demo


def forecast(folder: Path, *arguments: object) -> list[dict]:
    done = flushcast("forecast", "--garden", folder, "--json", *arguments)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)["rows"]


def text(folder: Path, *arguments: object) -> str:
    done = flushcast("forecast", "--garden", folder, *arguments)
    assert done.returncode == 0, done.stderr
    return " ".join(done.stdout.split())


@cache
def of_the_demo() -> list[dict]:
    return forecast(demo_folder())


def test_windows_carry_their_last_safe_date_and_the_price_of_waiting():
    rows = of_the_demo()
    refining = [r for r in rows if r["stage"] == "hardened" and r["operation"]]
    assert len(refining) >= 5
    for row in refining:
        assert "2026-06-14" < row["last_safe"] < "2026-09-15"
        odds = [row["odds"][k] for k in ("today", "in_14_days", "in_21_days")]
        assert odds == sorted(odds, reverse=True) and 0 <= odds[2] <= odds[0] <= 1
    others = [r for r in rows if r["stage"] != "hardened" or r["label"] in ("Maple 2", "Quince 2")]
    assert others and all(r["last_safe"] is None and r["odds"]["today"] is None for r in others)


def test_trees_of_one_species_in_one_place_share_a_last_safe_date():
    rows = {r["label"]: r for r in of_the_demo() if r["stage"] == "hardened"}
    assert rows["Hornbeam 1"]["last_safe"] == rows["Hornbeam 3"]["last_safe"] is not None


def test_the_text_says_when_to_stop():
    words = text(demo_folder(trees=FEW))
    assert "halve the outer leaves. Stop by " in words
    assert "That new growth ripens is about 19 in 20 if it is woken today, " in words and "%" not in words


@pytest.mark.slow
def test_an_old_tree_stops_earlier(tmp_path: Path):
    garden = own_demo(tmp_path)
    done = flushcast("tree", "edit", "Maple 1", "--vigour", "old", "--garden", garden)
    assert done.returncode == 0, done.stderr
    before = {r["label"]: r["last_safe"] for r in of_the_demo() if r["stage"] == "hardened"}
    after = {r["label"]: r["last_safe"] for r in forecast(garden) if r["stage"] == "hardened"}
    assert after["Maple 1"] < before["Maple 1"]
    assert after["Crab apple"] == before["Crab apple"]


def test_stricter_odds_and_a_longer_distance_from_frost_stop_earlier(tmp_path: Path):
    garden = own_demo(tmp_path)
    before = {r["label"]: r["last_safe"] for r in forecast(garden) if r["operation"]}
    flushcast("settings", "odds", "0.98", "--garden", garden)
    stricter = {r["label"]: r["last_safe"] for r in forecast(garden) if r["operation"]}
    assert all(stricter[k] < before[k] for k in stricter if before.get(k))
    flushcast("settings", "weeks-before-frost", "22", "--garden", garden)
    longer = {r["label"]: r["last_safe"] for r in forecast(garden) if r["last_safe"]}
    assert longer["Maple 1"] < before["Maple 1"]
    assert longer["Elm"] > longer["Maple 1"]  # own late flushes ripened: that limit gave way


@pytest.mark.slow
def test_after_the_last_safe_date_it_says_leave_it():
    day = date(2026, 8, 25)
    rows = [
        r for r in forecast(demo_folder(day)) if r["stage"] == "hardened" and r["odds"]["today"] is not None
    ]
    rows = [r for r in rows if r["label"] != "Azalea"]  # which is shaped by its bloom
    late = [r for r in rows if r["last_safe"] < "2026-08-25" and (r["p10"] or "") < "2026-10-20"]
    assert late and all(r["odds"]["today"] < 0.9 for r in late)
    assert all(r["operation"] in (None, "halving", "thinning") for r in late)
    assert all(any(" to wake growth" in w or "so late" in w for w in r["warnings"]) for r in late)
    words = text(demo_folder(day))
    assert "no more cutting until bare; halve the outer leaves" in words and "leave it until" in words
    assert "cut shoots back" not in words


@pytest.mark.slow
def test_late_work_is_written_down_with_what_stands_against_it(tmp_path: Path):
    garden = own_demo(tmp_path, date(2026, 8, 25))
    done = flushcast("work", "Beech", "cutback", "--garden", garden)
    assert done.returncode == 0
    words = " ".join(done.stderr.split())
    assert "Beech: too late to wake growth: hardly a chance that it ripens before frost" in words
    assert "Written down all the same." in words
    listed = flushcast("work", "Beech", "--list", "--garden", garden).stdout
    assert "cutback" in listed.splitlines()[1] and "25 Aug" in listed.splitlines()[1]


def test_work_on_a_past_day_is_judged_by_what_was_known_then(tmp_path: Path):
    garden = own_demo(tmp_path, date(2026, 8, 25), trees=FEW)
    done = flushcast("work", "Beech", "cutback", "--date", "2026-06-20", "--garden", garden)
    assert done.returncode == 0 and "too late" not in done.stderr
