"""Any garden, however odd its texts, comes back the same: from the journal, its rows, and its CSV files."""

from __future__ import annotations

import datetime as dt
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from data_sources.journal.schema import TABLES, ImportMap, Record
from data_sources.journal.store import Journal
from data_sources.journal_questions import all_records
from data_sources.tables.garden_tables import FILES, read_exported, write_tables
from data_sources.tables.problems import Problem
from data_sources.tables.text_table import read_table
from phenology.model.operations import Operation
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Part, Stage
from tests.data_sources.journal_help import rows_of

ODD = [
    "",
    "'",
    "''",
    "=1+1",
    "'=1+1",
    "+41 79",
    "-",
    "@home",
    "\tx",
    "\rx",
    " x ",
    'a "b", c;\nd',
    "01",
    "née",
    "🌳",
]
letters = st.characters(exclude_characters="\0", exclude_categories=("Cs",))
texts = st.sampled_from(ODD) | st.text(letters, max_size=12)
maybe_text = st.none() | texts
maybe_part = st.none() | st.sampled_from(Part)
days = st.dates(dt.date(1950, 1, 1), dt.date(2100, 1, 1))
maybe_day = st.none() | days
numbers = st.floats(allow_nan=False, allow_infinity=False)
SEASONS = SeasonCalendar()


@st.composite
def gardens(draw: st.DrawFn) -> list[Record]:
    """Records that may stand together, in random number and with random texts."""

    def some(kind: str, at_most: int, at_least: int = 0) -> list[str]:
        return [f"{kind}{n}" for n in range(draw(st.integers(at_least, at_most)))]

    def spans() -> dict[str, Any]:
        first, last = sorted((draw(days), draw(days)))
        return {"date_text": draw(texts), "earliest": first, "latest": last}

    places = [
        Place(id, draw(texts), draw(st.floats(-90, 90)), draw(st.floats(-180, 180)),
              draw(st.none() | numbers), draw(maybe_text), draw(texts), draw(maybe_text), draw(maybe_text))
        for id in some("p", 2, 1)
    ]  # fmt: skip
    trees = [
        Tree(id, draw(texts), draw(texts), draw(maybe_text), draw(maybe_day), draw(maybe_text),
             draw(maybe_text), draw(maybe_day), draw(maybe_text))
        for id in some("t", 3, 1)
    ]  # fmt: skip
    tree = st.sampled_from([t.id for t in trees])
    stands = [Stand(id, draw(tree), draw(st.sampled_from(places)).id, draw(maybe_day)) for id in some("s", 3)]
    aims = [
        Aim(id, draw(tree), draw(st.sampled_from(["building", "refining", "resting"])), draw(maybe_day))
        for id in some("a", 3)
    ]
    works = [
        Work(id, draw(tree), draw(st.sampled_from(Operation)), **spans(), part=draw(maybe_part),
             early=draw(st.booleans()), who=draw(maybe_text), note=draw(maybe_text))
        for id in some("w", 3)
    ]  # fmt: skip
    flushes = []
    for id in some("f", 4, 1):
        started = draw(days)
        work = draw(st.none() | st.sampled_from(works)) if works else None
        flushes.append(
            Flush(id, draw(tree), SEASONS.season_of(started),
                  draw(st.sampled_from(["season", "seen", "work"])),
                  draw(st.none() | st.just(started)), work.id if work else None, draw(maybe_text),
                  draw(maybe_part), draw(maybe_day), draw(maybe_text))
        )  # fmt: skip
    looks = []
    for id in some("k", 6):
        flush = draw(st.sampled_from(flushes))
        looks.append(
            Look(id, flush.tree_id, flush.id, draw(st.sampled_from(Stage)), **spans(),
                 kind=draw(st.sampled_from(["seen", "happened"])), checked=draw(st.booleans()),
                 lost=draw(st.booleans()), part=draw(maybe_part), leaves=draw(maybe_text),
                 who=draw(maybe_text), note=draw(maybe_text))
        )  # fmt: skip
    maps = [ImportMap(id, draw(texts), draw(texts), draw(texts), draw(texts)) for id in some("m", 2)]
    return [*places, *trees, *stands, *aims, *works, *flushes, *looks, *maps]


def saved(path: Path, records: list[Record]) -> Journal:
    journal = Journal.open(path, create=True, device="test")
    with journal.batch("all of it") as batch:
        for record in records:
            assert batch.insert(record)
    return journal


def everything(journal: Journal) -> dict[str, set[Record]]:
    records = all_records(journal)
    return {table: set(records.of(table)) for table in TABLES}


@given(gardens())
@settings(max_examples=25)
def test_any_garden_comes_back_from_the_journal_its_rows_and_its_csv_files(records: list[Record]) -> None:
    with tempfile.TemporaryDirectory() as name, saved(Path(name, "a.sqlite"), records) as journal:
        folder = Path(name)
        assert set().union(*everything(journal).values()) == set(records)
        assert journal.check() is None

        with Journal.open(folder / "b.sqlite", create=True) as rebuilt:
            rebuilt.rebuild(records, journal.export_changes())
            assert rows_of(rebuilt) == rows_of(journal)

        write_tables(folder / "csv", all_records(journal), SEASONS)
        read: list[Record] = []
        for table, file in FILES.items():
            problems: list[Problem] = []
            read += [r for _, r in read_exported(read_table(folder / "csv" / file), table, problems)]
            assert problems == []
        with saved(folder / "c.sqlite", read) as again:
            assert everything(again) == everything(journal)


@given(gardens(), st.data())
@settings(max_examples=12)
def test_undoing_everything_and_doing_it_again_ends_where_it_was(
    records: list[Record], data: st.DataObject
) -> None:
    with tempfile.TemporaryDirectory() as name, saved(Path(name, "a.sqlite"), records) as journal:
        states = [everything(journal)]
        for n in range(data.draw(st.integers(1, 4))):
            with journal.batch(f"change {n}") as batch:
                trees = journal.trees()
                batch.update(Tree, data.draw(st.sampled_from(trees)).id, note=f"change {n}")
                looks = journal.looks()
                if looks and data.draw(st.booleans()):
                    batch.delete(Look, data.draw(st.sampled_from(looks)).id)
            states.append(everything(journal))
        steps = len(states) - 1
        for n in reversed(range(steps)):
            journal.undo()
            assert everything(journal) == states[n]
        for n in range(steps):
            journal.redo()
            assert everything(journal) == states[n + 1]
        journal.undo(steps)
        assert everything(journal) == states[0] and journal.check() is None
