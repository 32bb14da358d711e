"""Trust rests on the garden's own past forecasts, and a species whose weather told nothing falls back."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from data_sources.kept.past_skill import FILE_NAME, keep_skill, read_skill
from phenology.advice.garden_forecast import forecast_garden
from phenology.heat.clocks import CLOCKS
from phenology.model.species_skill import SpeciesSkill
from reports.garden.skill import with_skill
from tests.reports.demo import DAY, demo_folder, flushcast, own_demo
from tests.reports.opened import read_garden

HELPED, NOTHING = SpeciesSkill(5, 4.0, 9.0), SpeciesSkill(5, 9.0, 8.0)


def test_the_usual_date_must_do_as_well_over_enough_seasons() -> None:
    assert NOTHING.weather_adds_nothing
    assert not HELPED.weather_adds_nothing
    assert not replace(NOTHING, seasons=3).weather_adds_nothing


def test_kept_skill_comes_back_under_its_key_only(tmp_path: Path) -> None:
    keep_skill(tmp_path, "a", {"Acer palmatum": HELPED})
    assert read_skill(tmp_path, "a") == {"Acer palmatum": HELPED}
    assert read_skill(tmp_path, "b") is None


@pytest.mark.parametrize("text", ["", "{", "[]", '{"key": "a", "species": {"x": {"years": 3}}}'])
def test_an_unreadable_cache_is_no_cache(tmp_path: Path, text: str) -> None:
    (tmp_path / FILE_NAME).write_text(text)
    assert read_skill(tmp_path, "a") is None


def test_a_forecast_keeps_what_it_reckoned_and_a_look_does_not_spoil_it(tmp_path: Path) -> None:
    garden = own_demo(tmp_path)
    flushcast("forecast", "--garden", garden)
    kept = json.loads((garden / FILE_NAME).read_text())
    assert set(kept["species"]) == {t.species for t in read_garden(garden, DAY)[0].trees}
    flushcast("look", "Maple 2", "extended", "--garden", garden)
    snapshot, _ = read_garden(garden, DAY)
    (garden / FILE_NAME).write_text(json.dumps({**kept, "species": {}}))
    assert with_skill(snapshot, garden).skills == {}  # read, not reckoned anew


def median(garden, label: str) -> float:
    rows = forecast_garden(garden).rows
    return next(r.day(0.5) for r in rows if r.tree.label == label and r.stage == "hardened" and r.arrival)


def test_a_species_whose_weather_told_nothing_is_dated_by_the_calendar_and_says_so() -> None:
    garden, _ = read_garden(demo_folder(), DAY)
    species = "Acer buergerianum"
    plain, fallen = (replace(garden, skills={species: skill}) for skill in (HELPED, NOTHING))
    assert median(plain, "Maple 2") != median(fallen, "Maple 2")
    assert median(plain, "Elm") == median(fallen, "Elm")
    (row,) = (r for r in forecast_garden(fallen).rows if r.tree.label == "Maple 2" and r.stage == "hardened")
    assert any("no more than the usual date" in warning for warning in row.warnings)
    assert any(clock.by_calendar for clock in CLOCKS)
