"""Lessons from elsewhere against real trees: Harvard Forest, and spring by latitude and height.

At Harvard Forest (O'Keefe HF003; Boose and Gould HF000 and HF001, not kept here) the springs of a few years
stand for places: a lesson given in the weather of one year is followed in that of another, and the trees of
both were looked at.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from datetime import date, timedelta
from functools import cache
from statistics import median

import numpy as np
import pytest

from phenology.advice.lesson import Lesson, stage_dates, state_there
from phenology.advice.lesson_here import translate
from phenology.advice.lesson_place import LessonPlace
from phenology.garden import Garden
from phenology.model.records import Flush, Look, Place, Stand, Tree
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import load_species
from tests.conftest import shared_or_skip
from tests.reference.test_harvard_forest_hindcast import DATA, forest

pytestmark = pytest.mark.slow

TAUGHT, FOLLOWED = range(1990, 2000), range(2000, 2007)
STAGES = {"budbreak": "budbreak", "leaf75": "extended"}  # the steadier mark of full-sized leaves


@cache
def events() -> dict[tuple[str, str, int], date]:
    """The middle day of each stage over the trees of a species, by species, stage and season."""
    found = defaultdict(list)
    file = shared_or_skip(DATA) / "data" / "harvard_forest" / "events.csv"
    rows = list(csv.DictReader(file.read_text(encoding="utf-8").splitlines()))
    masked = dict(zip(sorted({row["species"] for row in rows}), "ABCD", strict=True))  # as `forest` does
    for row in rows:
        if row["event"] in STAGES:
            days = (date.fromisoformat(row[end]).toordinal() for end in ("left_date", "right_date"))
            found[masked[row["species"]], STAGES[row["event"]], int(row["season"])].append(sum(days) / 2)
    return {key: date.fromordinal(round(median(days))) for key, days in found.items()}


@cache
def grove(species: str) -> LessonPlace:
    """The forest with the looks of its first ten seasons, in the weather of them all."""
    sights, weather = forest()
    mine = [s for s in sights if s.species == species and s.latest.year in TAUGHT]
    trees = sorted({s.tree for s in mine})
    flushes = {(s.tree, s.latest.year) for s in mine}
    looks = [
        Look(f"{k}", s.tree, f"{s.tree}{s.latest.year}", s.stage, str(s.latest), s.latest, s.latest)
        for k, s in enumerate(mine)
    ]
    garden = Garden(
        date(2007, 1, 1),
        SeasonCalendar(),
        [Place("forest", "Forest", 42.53, -72.19)],
        [Tree(name, name, species) for name in trees],
        [Stand(name, name, "forest") for name in trees],
        [],
        [Flush(f"{tree}{year}", tree, year, "season") for tree, year in flushes],
        looks,
        [],
        load_species({species: {"names": [species]}}),
        {"forest": weather},
    )
    return LessonPlace(garden, species)


def kinds() -> list[str]:
    return sorted({species for species, _, _ in events()})


def test_a_lesson_of_one_year_at_harvard_forest_is_followed_in_another():
    """Leaves come within half of what the date taken over misses; the state is told from the date."""
    missed, taken_over, told = defaultdict(list), defaultdict(list), []
    for species in kinds():
        place, came = grove(species), events()
        for year in FOLLOWED:
            season = place.of_lesson(year)
            for stage, at in (("budbreak", "extending"), ("extended", "extended")):
                seen = came[species, stage, year]
                due = stage_dates(season.plan.flushes[0], stage, season)[1]
                missed[stage].append(abs((due - seen).days))
                others = [
                    came[species, stage, other].replace(year=year) for other in FOLLOWED if other != year
                ]
                taken_over[stage] += [abs((day - seen).days) for day in others]
                day = seen + timedelta(days=5)  # most trees had come to it by then
                state = state_there(place, Lesson(place.garden.species[species], "", day, day, year))
                told.append((state.stage, state.flush) == (at, 1))
    assert len(told) == 56 and np.mean(told) > 0.95
    assert np.mean(missed["extended"]) < 0.6 * np.mean(taken_over["extended"])  # 3.7 days against 7.6
    assert np.mean(missed["budbreak"]) < np.mean(taken_over["budbreak"])  # 5.1 against 5.5: look at the buds


def spring(latitude: float, elevation: float = 100.0) -> float:
    """When a place without weather is told that buds swell, as a day of the year."""
    kinds, taught = load_species(), date(2025, 3, 10)
    there = LessonPlace.elsewhere(
        Place("t", "t", 40.0, 0.0, 100.0), None, date(2026, 1, 10), kinds, "Acer palmatum"
    )
    here = LessonPlace.elsewhere(
        Place("h", "h", latitude, 0.0, elevation), None, date(2026, 1, 10), kinds, "Acer palmatum"
    )
    (row,) = translate(there, here, Lesson(kinds["Acer palmatum"], "repotting", taught, taught))
    return float(row.due.timetuple().tm_yday)


def test_spring_comes_later_northward_and_uphill_as_the_old_rule_says():
    """Four days a degree of latitude and a day for thirty metres, within half as much again.

    A. D. Hopkins, "Periodical events and natural law as guides to agricultural research and practice",
    Monthly Weather Review Supplement 9, 1918; from memory, unverified; a rule of eastern America.
    """
    a_degree = (spring(46.0) - spring(38.0)) / 8
    thirty_metres = (spring(42.0, 700.0) - spring(42.0, 100.0)) / 20
    assert 2.0 < a_degree < 6.0
    assert 0.5 < thirty_metres < 1.5
