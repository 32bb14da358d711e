"""LOOKS.csv as a hindcast reads it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from data_sources.tables.looks_file import read_looks
from data_sources.tables.problems import FileQuestion, TableError
from phenology.judging.hindcast import DatedSight
from phenology.model.errors import InputError
from phenology.model.season import SeasonCalendar
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
    rows = read_looks(file(HEAD + "2026-07-04,Elm 1,Ulmus parvifolia,2,firm\n"), today=TODAY)
    day = date(2026, 7, 4)
    assert rows == [DatedSight("Elm 1", "Ulmus parvifolia", 2, "hardened", day, day, "seen")]


def test_vague_dates_keep_their_width(file):
    (row,) = read_looks(file(HEAD + "about 4 July,Elm 1,Ulmus parvifolia,1,hardened\n"), today=TODAY)
    assert (row.earliest, row.latest) == (date(2026, 6, 30), date(2026, 7, 8))


def test_given_ends_win_over_the_words(file):
    text = HEAD.replace("date", "date,earliest,latest").replace("stage", "stage,kind")
    text += "mid May,2025-05-12,2025-05-14,E,U,1,soft,happened\n"
    (row,) = read_looks(file(text), today=TODAY)
    assert (row.earliest, row.latest, row.kind) == (date(2025, 5, 12), date(2025, 5, 14), "happened")


def test_by_reaches_back_to_the_start_of_the_garden_s_season(file):
    path = file(HEAD + "by 4 Jan 2026,E,U,1,hard\n")
    (row,) = read_looks(path, today=TODAY, calendar=SeasonCalendar(7, 1))
    assert (row.earliest, row.latest) == (date(2025, 7, 1), date(2026, 1, 4))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_files_of_any_spreadsheet_read(file, encoding, separator):
    text = (HEAD + "4.7.2026,Hainbuche große,Carpinus,1,soft\n\n").replace(",", separator)
    (row,) = read_looks(file(text.replace("\n", "\r\n"), encoding), today=TODAY)
    assert (row.tree, row.earliest) == ("Hainbuche große", date(2026, 7, 4))


def test_every_bad_row_is_told_at_once_with_line_and_column(file):
    bad = "2026-07-04,Elm 1,U,1,frim\n32 July,Elm 1,U,1,firm\n2027-01-01,Elm 1,U,0,firm\n4 July,,U,1,firm\n"
    with pytest.raises(TableError) as caught:
        read_looks(file(HEAD + bad + "2026-07-04,Elm 1,U,1,firm\n"), today=TODAY)
    told = str(caught.value)
    assert told.startswith("5 rows cannot be read; nothing was changed.")
    assert [(p.line, p.column, p.wrong) for p in caught.value.problems] == [
        (2, "stage", "read 'frim'"),
        (3, "date", "read '32 July'"),
        (4, "flush", "read '0'"),
        (4, "date", "read '2027-01-01'"),
        (5, "tree", "read ''"),
    ]
    assert "column stage: read 'frim'; there is no stage or work called 'frim'. Did you mean firm (h" in told


def test_a_look_without_a_species_is_a_bad_row_for_a_hindcast(file):
    with pytest.raises(TableError, match=r"line 2, column species: read ''; write the species"):
        read_looks(file(HEAD + "4 July,E,,1,soft\n"), today=TODAY)


def test_the_order_of_day_and_month_is_the_file_s(file):
    day_first = file(HEAD + "4/7/2025,E,U,1,soft\n25/7/2025,E,U,1,firm\n")
    assert [row.earliest.month for row in read_looks(day_first, today=TODAY)] == [7, 7]
    open_file = file(HEAD + "4/7/2025,E,U,1,soft\n")
    with pytest.raises(FileQuestion, match=r"looks\.csv: '4/7/2025' may be day first or month first"):
        read_looks(open_file, today=TODAY)
    assert read_looks(open_file, today=TODAY, order="month-first")[0].earliest == date(2025, 4, 7)


@pytest.mark.parametrize(
    "text, sentence",
    [
        ("", "looks.csv: the file is empty"),
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


def test_the_public_looks_read_without_a_problem():
    shared = shared_or_skip("the Harvard Forest looks (HF003, harvardforest.fas.harvard.edu)")
    assert len(read_looks(shared / "data/harvard_forest/looks.csv", today=TODAY)) == 5492
