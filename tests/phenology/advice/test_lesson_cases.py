"""docs/lessons.md, line by line: lessons from elsewhere, and what a grower would accept of them."""

from __future__ import annotations

from datetime import date
from functools import cache
from pathlib import Path

import pytest

from data_sources.demo.climate import synthetic_weather
from phenology.advice.lesson import Lesson
from phenology.advice.lesson_here import translate
from phenology.advice.lesson_place import LessonPlace
from phenology.language.date_style import SHORT_MONTHS
from phenology.model.records import Place
from phenology.species.catalogue import find_species, load_species

PAGE = Path(__file__).resolve().parents[3] / "docs" / "lessons.md"
TODAY = date(2026, 2, 1)
KINDS = load_species()


def tables() -> list[list[dict[str, str]]]:
    """The tables of the page, by column."""
    found = []
    for part in PAGE.read_text(encoding="utf-8").split("\n\n"):
        if part.startswith("|"):
            cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in part.splitlines()]
            found.append([dict(zip(cells[0], row, strict=True)) for row in cells[2:]])
    return found


PLACES, CASES = tables()
CLIMATES = {row["place"]: row for row in PLACES}


@cache
def place(name: str, latin: str) -> LessonPlace:
    row = CLIMATES[name]
    latitude, weather = float(row["latitude"]), None
    if row["mean of the year"]:
        mean, swing = float(row["mean of the year"]), float(row["half its swing"])
        seed = len(name) + int(latitude)
        weather = synthetic_weather(
            date(2004, 1, 1), date(2026, 1, 31), latitude, mean=mean, amplitude=swing, seed=seed
        )
    return LessonPlace.elsewhere(Place(name, name, latitude, 0.0), weather, TODAY, KINDS, latin)


def a_day(text: str, year: int) -> date:
    number, month = text.split()
    return date(year, SHORT_MONTHS.index(month) + 1, int(number))


def test_there_are_more_than_a_dozen_pairs_both_ways_and_over_the_equator():
    pairs = {(row["in"], row["here"]) for row in CASES}
    assert len(CASES) >= 20 and len(pairs) >= 9
    assert ("Upland", "Southbank") in pairs and ("Southbank", "Upland") in pairs
    assert ("Upland", "Farland") in pairs and ("Farland", "Upland") in pairs


@pytest.mark.parametrize("row", CASES, ids=lambda r: f"{r['species']} {r['work']} {r['in']} {r['here']}")
def test_a_grower_would_accept_it(row):
    species = find_species(row["species"], KINDS)
    day = a_day(row["taught"], 2025)
    lesson = Lesson(species, row["work"], day, day, flush=int(row["flush"]) if row["flush"] else None)
    (told,) = translate(place(row["in"], species.latin), place(row["here"], species.latin), lesson)
    assert told.state.words == row["what the tree was at"]
    assert ("yes" if told.in_time else "no") == row["in time"]
    assert row["what flushcast says"] in told.does
    if row["comes"] == "-":
        assert told.due is None and told.why
    else:
        first, last = (a_day(text, told.due.year) for text in row["comes"].split(" to "))
        assert first <= told.due <= last
