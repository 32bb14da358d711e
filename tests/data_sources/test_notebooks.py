"""Growers' own notebooks: what must be understood, asked and refused stands in notebooks/expected.toml."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import date
from itertools import count
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_sources.tables.dates import is_dated
from data_sources.tables.garden_tables import GardenRecords
from data_sources.tables.headers import event_column
from data_sources.tables.import_draft import ImportPlan, write_to_mend
from data_sources.tables.notebook import read_notebook, table_of
from data_sources.tables.problems import FileQuestion, TableError
from data_sources.tables.table_import import Answers, plan_import
from data_sources.tables.text_table import TextTable
from phenology.model.records import Flush, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import load_species

FOLDER = Path(__file__).parent / "notebooks"
EXPECTED = tomllib.loads((FOLDER / "expected.toml").read_text(encoding="utf-8"))
CATALOGUE, TODAY = load_species(), date(2026, 7, 25)
LABELS = {"Elm 1": "Ulmus parvifolia", "Elm 2": "Ulmus parvifolia"} | {
    "Trident 1": "Acer buergerianum",
    "Trident 2": "Acer buergerianum",
}


def garden() -> GardenRecords:
    trees = [Tree(label, label, species) for label, species in LABELS.items()]
    stands = [Stand(f"stand {tree.id}", tree.id, "p") for tree in trees]
    return GardenRecords(places=[Place("p", "Bench", 47.0, 8.0)], trees=trees, stands=stands)


def plan_of(tables: list[TextTable], records: GardenRecords | None = None, **answers: object) -> ImportPlan:
    ids = count()
    return plan_import(
        tables,
        records or garden(),
        CATALOGUE,
        SeasonCalendar(),
        today=TODAY,
        new_id=lambda: f"new {next(ids)}",
        answers=replace(Answers(new_trees=True, strict=False), **answers),
    )


def after(records: GardenRecords, plan: ImportPlan) -> GardenRecords:
    """The garden once a plan is saved."""
    kept = {Tree: records.trees, Stand: records.stands, Work: records.works, Flush: records.flushes}
    for record in plan.save:
        mine = kept.get(type(record), records.looks if isinstance(record, Look) else records.import_maps)
        mine[:] = [one for one in mine if one.id != record.id] + [record]
    return records


def lines(plan: ImportPlan, fate: str) -> list[str]:
    """Rows of a fate as the table of expectations has them."""
    mine = sorted((row for row in plan.rows if row.fate == fate), key=lambda row: (row.line, row.column))
    return [
        f"{row.line}, {row.column}" + (f": {row.problems[0].advice}" if row.problems else "") for row in mine
    ]


def test_every_notebook_is_in_the_table_of_expectations():
    assert {path.name for path in FOLDER.iterdir()} == {*EXPECTED, "expected.toml"}
    assert len(EXPECTED) >= 25


@pytest.mark.parametrize("name", EXPECTED)
def test_a_notebook_is_understood_as_it_is(name):
    wanted, tables = EXPECTED[name], read_notebook(FOLDER / name)
    answers = {}
    if "question" in wanted:
        with pytest.raises(FileQuestion) as asked:
            plan_of(tables)
        assert asked.value.what == wanted["question"]
        answers = {wanted["question"]: wanted["answer"]}
    records = garden()
    plan = plan_of(tables, records, **answers)
    new = sorted((row for row in plan.rows if row.fate == "new"), key=lambda row: row.line)
    if "understood" in wanted:
        assert [f"{row.line}: {row.said}" for row in new] == wanted["understood"]
    assert len(new) == wanted.get("count", len(new))
    assert wanted.get("new_trees", plan.new_trees) == plan.new_trees
    for fate in ("unknown", "asked", "refused"):
        assert lines(plan, fate) == wanted.get(fate, []), fate
    passed = [header for report in plan.reports for header, is_ in report.columns.items() if is_ == "-"]
    assert passed == wanted.get("passed_over", [])
    if "count" not in wanted:
        again = plan_of(tables, after(records, plan), **answers)
        assert [r for r in again.save if not isinstance(r, Flush)] == []
        assert sum(row.fate == "there" for row in again.rows) >= len(new)


def test_strict_takes_all_or_nothing():
    with pytest.raises(TableError, match=r"rows cannot be read; nothing was changed"):
        plan_of(read_notebook(FOLDER / "slips.csv"), strict=True)


def test_what_is_left_out_can_be_mended_beside_and_does_not_double(tmp_path):
    records = garden()
    tables = read_notebook(FOLDER / "slips.csv")
    plan = plan_of(tables, records)
    (sheet,) = write_to_mend(tmp_path, "slips", plan.left_out)
    assert write_to_mend(tmp_path, "slips", plan.left_out) == [sheet]  # the same once more is the same sheet
    text = sheet.read_text("utf-8")
    assert "Did you mean cutback? (line 3)" in text
    for wrong, right in (("Trdent 1", "Trident 1"), ("cutbak,", "cutback,"), ("32 May", "31 May")):
        text = text.replace(wrong, right)
    sheet.write_text(text, "utf-8")
    after(records, plan)
    mended = plan_of(read_notebook(sheet), records)
    assert sorted(row.said for row in mended.rows if row.fate == "new") == [
        "Elm 1: cutback, 2 May 2021",
        "Elm 1: hardened, 31 May 2021",
        "Trident 1: extending, 1 May 2021",
    ]
    (other,) = write_to_mend(tmp_path, "slips", mended.left_out)
    assert other.name == "slips-to-mend-2.csv"  # the mended one stays
    again = plan_of(read_notebook(sheet), after(records, mended))
    assert [row for row in again.rows if row.fate == "new"] == []


def test_a_column_of_dates_can_be_explained():
    tables = read_notebook(FOLDER / "unexplained-dates.csv")
    plan = plan_of(tables, mapping={"Leafed out": "extended"})
    assert "Elm 1: extended, 20 Apr 2021" in [row.said for row in plan.rows]
    assert plan.open_columns == [] and plan.problems == []
    assert plan_of(tables).open_columns == [("unexplained-dates.csv", "Leafed out", "20 Apr 2021")]
    passed = plan_of(tables, mapping={"Leafed out": "-"})
    assert {row.column for row in passed.rows} == {"Bud break"}


@pytest.mark.parametrize(
    "header, meant",
    [
        ("Bud break", "budbreak"),
        ("date of bud break", "budbreak"),
        ("2004 Hardened off", "hardened:2004"),
        ("Cut back (2)", "cutback::2"),
        ("2nd bud break", "budbreak::2"),
        ("Umgetopft 2019", "repotting:2019"),
        ("Moon", None),
        ("date", None),
        ("last repot", None),
    ],
)
def test_a_header_may_be_a_stage_or_work(header, meant):
    column = event_column(header)
    assert (column and str(column)) == meant
    assert column is None or event_column(str(column)) == column


HEADERS = ("Tree", "Kind", "Date", "What", "Bud break", "Hardened", "Cut back", "Leafed out", "Moon", "Note")
DATES = ("3 Apr 2004", "2004-06-10", "late June 2004", "Ende Juni 2004", "5.6.2004", "mid May 2030")
OTHERS = ("", "?", "-", "Elm 1", "Elm 2 and Elm 1", "No such tree", "soft", "cut back", "12", "full", "2004")
cells = st.sampled_from(DATES) | st.sampled_from(OTHERS)


@settings(max_examples=120)
@given(st.data())
def test_no_cell_with_a_date_disappears(data):
    """Every dated cell is taken, asked about, refused, kept in a note, or in a file that is refused whole."""
    headers = data.draw(st.lists(st.sampled_from(HEADERS), min_size=2, max_size=6, unique=True))
    rows = data.draw(
        st.lists(st.lists(cells, min_size=len(headers), max_size=len(headers)), min_size=1, max_size=6)
    )
    grid = [(1, tuple(headers)), *((n, tuple(row)) for n, row in enumerate(rows, 2))]
    table = table_of("f.csv", grid)
    try:
        plan = plan_of([table], kind="seen", date_order="day-first")
    except TableError as whole:
        assert "f.csv" in str(whole)
        return
    (report,) = plan.reports
    accounted = {(row.line, row.column) for row in plan.rows}
    accounted |= {(row.line, problem.column) for row in plan.rows for problem in row.problems}
    lines_with_rows = {row.line for row in plan.rows}
    for line, row in table.rows:
        for header, cell in zip(table.headers, row, strict=True):
            if not is_dated(cell):
                continue
            is_ = report.columns[header]
            if is_ in ("note", "tree", "species", "kind", "stage", "operation", "label", "season", "who"):
                assert line in lines_with_rows
            else:
                assert (line, header) in accounted, (header, is_, cell)
