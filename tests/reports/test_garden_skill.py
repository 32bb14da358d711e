"""Trust rests on the garden's own past forecasts, and a species whose weather told nothing falls back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from data_sources.kept_notes import PAST, keep_forecasts, read_forecasts
from phenology.advice.garden_forecast import forecast_garden
from phenology.model.track_record import TrackRecord
from reports.garden.past_forecasts import garden_past, with_skill
from tests.reports.demo import DAY, FEW, demo_folder, demo_past, flushcast, own_demo
from tests.reports.opened import read_garden

BEECH = "Fagus crenata"


def test_past_forecasts_come_back_under_their_key_only(tmp_path: Path) -> None:
    keep_forecasts(tmp_path, "a", demo_past(FEW)[:5])
    assert read_forecasts(tmp_path, "a") == list(demo_past(FEW)[:5])
    assert read_forecasts(tmp_path, "b") is None


def test_a_few_sets_are_kept_the_newest_last(tmp_path: Path) -> None:
    for key in "abcd":
        keep_forecasts(tmp_path, key, [])
    assert [read_forecasts(tmp_path, key) for key in "abcd"] == [None, [], [], []]


@pytest.mark.parametrize("text", ["", "{", "[]", '{"sets": []}', '{"sets": {"a": [["x", 3]]}}'])
def test_an_unreadable_cache_is_no_cache(tmp_path: Path, text: str) -> None:
    (tmp_path / PAST).write_text(text)
    assert read_forecasts(tmp_path, "a") is None


@pytest.mark.slow
def test_a_forecast_keeps_what_it_reckoned_and_a_look_does_not_spoil_it(tmp_path: Path) -> None:
    garden = own_demo(tmp_path, trees=FEW)
    (garden / PAST).unlink()
    flushcast("forecast", "--garden", garden)
    kept = json.loads((garden / PAST).read_text())
    (key,) = kept["sets"]
    assert {row[0] for row in kept["sets"][key]} == {t.species for t in read_garden(garden, DAY)[0].trees}
    flushcast("look", "Beech", "firm", "--garden", garden)
    snapshot, _ = read_garden(garden, DAY)
    (garden / PAST).write_text(json.dumps({"sets": {key: []}}))
    assert with_skill(snapshot, garden).skills == {}  # read, not reckoned anew


def test_a_record_of_the_finished_seasons_does_spoil_it(tmp_path: Path, monkeypatch) -> None:
    garden = own_demo(tmp_path, trees=FEW)
    anew = [demo_past(FEW)[0]]
    monkeypatch.setattr("phenology.judging.past_forecasts.past_forecasts", lambda *_, **__: anew)
    snapshot, _ = read_garden(garden, DAY)
    remarked = replace(
        snapshot,
        trees=[replace(tree, label=f"Old {tree.label}", note="by the gate") for tree in snapshot.trees],
        looks=[replace(look, who="a guest", note="in rain") for look in snapshot.looks],
    )
    for one in (snapshot, remarked):
        assert garden_past(garden, one, keep=False) == list(demo_past(FEW))
    done = flushcast("look", "Beech", "extending", "--date", "2023-05-29", "--garden", garden)
    assert done.returncode == 0, done.stderr
    assert garden_past(garden, read_garden(garden, DAY)[0], keep=False) == anew


def test_a_species_that_the_calendar_serves_better_is_dated_by_it_and_says_so() -> None:
    garden, _ = read_garden(demo_folder(trees=FEW), DAY)
    plain = TrackRecord.of(demo_past(FEW))
    by_calendar = {**plain, BEECH: replace(plain[BEECH], by_calendar=True)}
    helped, fallen = (
        {row.tree.label: row for row in forecast_garden(replace(garden, skills=skills)).rows
         if row.stage == "hardened" and row.arrival}
        for skills in (plain, by_calendar)
    )  # fmt: skip
    assert helped["Beech"].day(0.5) != fallen["Beech"].day(0.5)
    assert helped["Crab apple"].day(0.5) == fallen["Crab apple"].day(0.5)
    assert any("no more than the usual date" in warning for warning in fallen["Beech"].warnings)
    assert not any("no more than the usual date" in warning for warning in helped["Beech"].warnings)
