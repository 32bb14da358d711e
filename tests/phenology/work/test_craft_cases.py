"""docs/craft-cases.md, line by line: what the craft says of a tree on a day."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from functools import cache
from pathlib import Path

import pytest

from phenology.model.operations import HALVING_JOINS, Operation
from phenology.species.catalogue import find_species, load_species
from phenology.work.answer import may_i
from phenology.work.case import Case
from phenology.work.duties import BLOOM_CUT_DAYS
from phenology.work.grades import GRADES
from phenology.work.technique import BARED_AGAIN, Choice, choose
from phenology.work.wire_watch import FIRST_ON_SHOOTS, FIRST_ON_WOOD
from phenology.work.zones import LATER_DAYS
from tests.phenology.gardens import Records
from tests.phenology.work.test_rules import Setting, late_of

PAGE = Path(__file__).resolve().parents[3] / "docs" / "craft-cases.md"
YEAR = 2020
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WORDS = {
    "bare outer": ("outer-defoliation",),
    "cut, halve": ("extend-cut", "halve"),
    "cut": ("extend-cut",),
    "pinch": ("pinch",),
    "shape": ("bloom-cut",),
    "halve": ("halve",),
    "halve, thin": ("halve", "thin"),
    "thin": ("thin",),
}
CATALOGUE = load_species()


def rows(heading: str) -> list[dict[str, str]]:
    """The lines of a table, by column."""
    text = PAGE.read_text(encoding="utf-8")
    lines = text[text.index(f"## {heading}") :].split("\n\n")[1].splitlines()
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return [dict(zip(cells[0], row, strict=True)) for row in cells[2:]]


def a_day(text: str) -> date:
    number, month = text.split()
    return date(YEAR, MONTHS.index(month) + 1, int(number))


def season_day(day: date) -> int:
    return day.timetuple().tm_yday


def case_of(row: dict[str, str], operation: str = "cutback") -> Case:
    """The tree of a line on its day, in a garden with a few weeks of looks and mild weather ahead."""
    today = a_day(row["date"])
    happened = re.findall(r"([\w-]+) (\d+ \w+)", row["this season"])
    r = Records()
    tree = r.tree("T", find_species(row["species"], CATALOGUE).latin, vigour=row["vigour"] or None)
    first = r.flush(tree, YEAR)
    flush, woke = first, None
    for what, when in happened:
        if what in ("flowering", "faded"):
            r.look(first, season_day(a_day(when)), "budbreak", note=what)
            continue
        work = r.work(tree, YEAR, season_day(a_day(when)), what)
        if Operation(what).wakes and row["flush"] == "2":
            woke = (work, a_day(when))
    if row["flush"] == "2":
        work, began = woke or (None, today - timedelta(30))
        r.look(first, season_day(began) - 1, "hardened")
        flush = r.flush(tree, YEAR, "work" if woke else "seen", started_on=began, work_id=work)
    if row["seen"]:
        r.look(flush, season_day(today) - 1, row["seen"])
    garden = r.garden(today)
    garden = replace(garden, weather={"bench": Setting(n=season_day(today)).weather(today)})
    part = row["zone"] or None
    late = the_late(garden.trees[0].species, today) if Operation(operation).wakes else None
    return Case(garden, garden.trees[0], operation, today, part, late=late)


@cache
def the_late(species: str, today: date):
    r = Records()
    r.tree("T", species)
    return replace(late_of(r.garden(today)), guess=False)


def told(choice: Choice) -> str:
    if choice.leave:
        return "leave"
    if not choice.now:
        return "wait"
    later = "later " if choice.options[0].after_days else ""
    return later + next(words for words, techniques in WORDS.items() if techniques == choice.now)


def name_of(row: dict[str, str]) -> str:
    return " ".join(row[c] for c in ("species", "flush", "seen", "zone", "vigour", "this season", "date"))


@pytest.mark.parametrize("row", rows("What now?"), ids=name_of)
def test_what_now(row):
    choice = choose(case_of(row).situation())
    assert told(choice) == row["what now"], f"{row['why']}; said: {choice.sentence}"
    assert choice.sentence and not choice.sentence.endswith(".")


@pytest.mark.parametrize("row", rows("May I?"), ids=lambda row: f"{row['asked']} {name_of(row)}")
def test_may_i(row):
    answer = may_i(case_of(row, row["asked"]))
    assert answer.answer == row["answer"], f"{row['why']}; said: {answer}"
    assert answer.answer == "yes" or answer.why


def test_there_are_cases_enough_and_each_says_why():
    all_rows = [*rows("What now?"), *rows("May I?")]
    assert len(all_rows) > 100 and all(row["why"] for row in all_rows)
    assert len({row["species"] for row in all_rows}) >= 25


def test_the_page_for_newcomers_tells_the_grades_and_the_limits_as_they_are():
    page = (PAGE.parent / "craft.md").read_text(encoding="utf-8")
    text = " ".join(page.split())
    rows_of = re.findall(r"^\| (safe|getting late|risky|too late) \|", page, re.MULTILINE)
    assert tuple(rows_of) == GRADES
    assert "at least six weeks later" in text and BARED_AGAIN == 42
    assert "within two weeks of it" in text and HALVING_JOINS == 14
    assert "within about four weeks" in text and BLOOM_CUT_DAYS == 28
    assert "two to three weeks after the rest" in text and LATER_DAYS == (14, 21)
    assert "three weeks after wiring this year's shoots, six after older wood" in text
    assert (FIRST_ON_SHOOTS, FIRST_ON_WOOD) == (21, 42)
