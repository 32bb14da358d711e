"""LOOKS.csv and the cells under it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from data_sources.tables.csv_cells import BadRowsError, mark, read_csv, unmark, write_csv
from data_sources.tables.looks_csv import LookRow, load_looks, read_looks, write_looks
from phenology.language.vague_dates import AmbiguousDateError
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Part, Stage
from tests.conftest import shared_or_skip

TODAY = date(2026, 7, 25)
HEAD = "date,tree,species,flush,stage\n"


@pytest.fixture
def file(tmp_path):
    def write(text: str, encoding: str = "utf-8") -> Path:
        path = tmp_path / "looks.csv"
        path.write_bytes(text.encode(encoding))
        return path

    return write


def test_a_plain_file_reads(file):
    rows = load_looks(file(HEAD + "2026-07-04,Elm 1,Ulmus parvifolia,2,firm\n"), today=TODAY)
    day = date(2026, 7, 4)
    assert rows == [LookRow(2, "2026-07-04", day, day, "Elm 1", "Ulmus parvifolia", 2, "hardened")]


def test_vague_dates_keep_their_words_and_their_width(file):
    (row,) = load_looks(file(HEAD + "about 4 July,Elm 1,Ulmus parvifolia,1,hardened\n"), today=TODAY)
    assert (row.date_text, row.earliest, row.latest) == ("about 4 July", date(2026, 6, 30), date(2026, 7, 8))


def test_given_ends_win_over_the_words(file):
    text = HEAD.replace("date", "date,earliest,latest").replace("stage", "stage,kind")
    text += "mid May,2025-05-12,2025-05-14,E,U,1,soft,happened\n"
    (row,) = load_looks(file(text), today=TODAY)
    assert (row.earliest, row.latest, row.kind) == (date(2025, 5, 12), date(2025, 5, 14), "happened")


def test_by_reaches_back_to_the_start_of_the_garden_s_season(file):
    path = file(HEAD + "by 4 Jan 2026,E,U,1,hard\n")
    (row,) = load_looks(path, today=TODAY, calendar=SeasonCalendar(7, 1))
    assert (row.earliest, row.latest) == (date(2025, 7, 1), date(2026, 1, 4))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_files_of_any_spreadsheet_read(file, encoding, separator):
    text = (HEAD + "4.7.2026,Hainbuche große,Carpinus,1,soft\n\n").replace(",", separator)
    (row,) = load_looks(file(text.replace("\n", "\r\n"), encoding), today=TODAY)
    assert (row.tree, row.earliest) == ("Hainbuche große", date(2026, 7, 4))


def test_every_bad_row_is_told_at_once_with_line_and_column(file):
    bad = "2026-07-04,Elm 1,U,1,frim\n32 July,Elm 1,U,1,firm\n2027-01-01,Elm 1,U,0,firm\n4 July,,U,1,firm\n"
    with pytest.raises(BadRowsError) as caught:
        load_looks(file(HEAD + bad + "2026-07-04,Elm 1,U,1,firm\n"), today=TODAY)
    told = str(caught.value)
    assert told.startswith("5 rows cannot be read; nothing was changed.")
    assert [(p.line, p.column, p.read) for p in caught.value.problems] == [
        (2, "stage", "frim"),
        (3, "date", "32 July"),
        (4, "date", "2027-01-01"),
        (4, "flush", "0"),
        (5, "tree", ""),
    ]
    assert (
        "looks.csv, line 2, column stage: read 'frim'; there is no stage called 'frim'. Did you mean firm"
        in (told.replace("hardened", "firm"))
    )


def test_good_rows_of_a_bad_file_can_still_be_had(file):
    rows, problems = read_looks(file(HEAD + "4 July,E,U,1,soft\nnever,E,U,1,soft\n"), today=TODAY)
    assert [row.line for row in rows] == [2]
    assert [p.line for p in problems] == [3]


def test_the_order_of_day_and_month_is_the_file_s(file):
    day_first = file(HEAD + "4/7/2025,E,U,1,soft\n25/7/2025,E,U,1,firm\n")
    assert [row.earliest.month for row in load_looks(day_first, today=TODAY)] == [7, 7]
    open_file = file(HEAD + "4/7/2025,E,U,1,soft\n")
    with pytest.raises(AmbiguousDateError, match=r"looks\.csv: '4/7/2025' may be day first or month first"):
        load_looks(open_file, today=TODAY)
    assert load_looks(open_file, today=TODAY, order="month-first")[0].earliest == date(2025, 4, 7)


@pytest.mark.parametrize(
    "text, sentence",
    [
        ("", "looks.csv is empty"),
        (
            "date,tree,stage\n",
            "has no column species, flush; a looks file needs date,tree,species,flush,stage",
        ),
        ("date,date,tree,species,flush,stage\n", "two columns called 'date'"),
    ],
)
def test_a_file_that_is_no_looks_file_is_refused(file, text, sentence):
    with pytest.raises(InputError, match=sentence):
        read_looks(file(text), today=TODAY)


def test_a_missing_file_a_folder_and_a_picture_are_refused(tmp_path):
    (tmp_path / "photo.csv").write_bytes(b"\x89PNG\x00\x81\x8d")
    for name, sentence in [
        ("none.csv", "there is no file"),
        (".", "is a folder"),
        ("photo.csv", "not a text file"),
    ]:
        with pytest.raises(InputError, match=sentence):
            read_csv(tmp_path / name)


def test_too_many_cells_are_told_with_their_line(file):
    _, problems = read_looks(file(HEAD + "4 July,E,U,1,soft,oh, and more\n"), today=TODAY)
    assert str(problems[0]).startswith("looks.csv, line 2: 7 cells under 5 headers")


def test_a_line_break_inside_a_cell_keeps_the_line_numbers_right(file):
    text = 'date,tree,species,flush,stage,note\n4 July,E,U,1,soft,"two\nlines"\nbad,E,U,1,soft,\n'
    rows, problems = read_looks(file(text), today=TODAY)
    assert rows[0].note == "two\nlines"
    assert problems[0].line == 4


def test_the_public_looks_read_without_a_problem():
    shared = shared_or_skip("the Harvard Forest looks (HF003, harvardforest.fas.harvard.edu)")
    rows, problems = read_looks(shared / "data/harvard_forest/looks.csv", today=TODAY)
    assert (len(rows), problems) == (5492, [])


texts = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=12)


@given(texts)
def test_any_text_survives_the_mark_against_formulas(text):
    marked = mark(text)
    assert unmark(marked) == text
    assert not marked.startswith(("=", "+", "-", "@", "\t", "\r"))


words = st.text(st.characters(categories=["L", "N", "P"]), min_size=1, max_size=8)
maybe = st.none() | words
rows = st.builds(
    lambda day, width, **more: LookRow(
        0, day.isoformat(), day, min(date.fromordinal(day.toordinal() + width), TODAY), **more
    ),
    st.dates(date(2000, 1, 1), TODAY),
    st.integers(0, 40),
    tree=words,
    species=words,
    flush=st.integers(1, 5),
    stage=st.sampled_from(Stage),
    kind=st.sampled_from(["seen", "happened"]),
    checked=st.booleans(),
    lost=st.booleans(),
    part=st.none() | st.sampled_from(Part),
    leaves=maybe,
    who=maybe,
    note=maybe,
)


@given(st.lists(rows, max_size=5))
@settings(max_examples=60)
def test_what_is_written_reads_back(tmp_path_factory, looks):
    path = tmp_path_factory.mktemp("looks") / "looks.csv"
    assert write_looks(path, looks) == len(looks)
    again = load_looks(path, today=TODAY)
    assert [LookRow(0, *list(row.__dict__.values())[1:]) for row in again] == looks


def test_a_cell_that_looks_like_a_formula_is_written_harmless(tmp_path):
    path = tmp_path / "t.csv"
    write_csv(path, ["note"], [["=HYPERLINK(1)"], ["plain"], [None]])
    assert path.read_text("utf-8") == 'note\n\'=HYPERLINK(1)\nplain\n""\n'
    assert read_csv(path).column("note") == ["=HYPERLINK(1)", "plain"]
