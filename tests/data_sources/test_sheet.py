"""Which column of a spreadsheet is which."""

from __future__ import annotations

from datetime import date

import pytest

from data_sources.tables.dates import DateReader
from data_sources.tables.problems import TableError
from data_sources.tables.sheet import read_sheet, to_remember
from data_sources.tables.subjects import SUBJECTS
from data_sources.tables.text_table import TextTable
from phenology.model.season import SeasonCalendar


def sheet_of(headers, file="f.csv", **said):
    return read_sheet(TextTable(file, tuple(headers), ()), **said)


@pytest.mark.parametrize(
    "headers, subject, mapping",
    [
        (["date", "tree", "species", "flush", "stage"], "look", {"stage": "stage", "tree": "tree"}),
        (["when", "plant", "state", "remarks"], "look", {"when": "date", "plant": "tree", "remarks": "note"}),
        (["day", "tree", "job"], "work", {"job": "operation"}),
        (["name", "latin name", "pot size"], "tree", {"name": "label", "pot size": "pot"}),
        (["place", "lat", "lon"], "place", {"lat": "latitude"}),
        (["date", "tree", "stage", "moon"], "look", {"moon": "-"}),
    ],
)
def test_everyday_headers_are_understood(headers, subject, mapping):
    sheet = sheet_of(headers)
    assert sheet.subject == subject
    assert mapping.items() <= sheet.mapping.items()


def test_unknown_headers_ask_with_an_example():
    with pytest.raises(TableError, match=r"f\.csv: which column is the date .*--map 'Tik=date'"):
        sheet_of(["Tik", "Tak", "Stage"], subject="look")


def test_a_mapping_is_said_once_and_remembered():
    headers = ["Tik", "Tak", "Tok"]
    said = {"Tik": "date", "tak": "tree", "tok": "stage"}
    sheet = sheet_of(headers, said=said, options={"order": "day-first"})
    kept = to_remember(sheet, "id")
    assert kept is not None
    again = sheet_of(["tak", "tik", "tok"], "g.csv", remembered=[kept])
    assert (again.subject, again.remembered, again.options) == ("look", kept, {"order": "day-first"})
    assert to_remember(again, "other") is None
    assert dict(again.mapping) == dict(sheet.mapping)
    assert again.texts(("Elm 1", "4 July", "'-soft")) == {"tree": "Elm 1", "date": "4 July", "stage": "-soft"}


def test_plain_headers_need_no_remembering():
    assert to_remember(sheet_of(["date", "tree", "stage"]), "id") is None


def test_what_is_said_anew_replaces_what_was_remembered():
    kept = to_remember(sheet_of(["tik", "tree", "stage"], said={"tik": "date"}), "id")
    again = sheet_of(["tik", "tree", "stage"], options={"kind": "seen"}, remembered=[kept])
    replaced = to_remember(again, "other")
    assert (replaced.id, replaced.mapping, replaced.options) == ("id", kept.mapping, '{"kind": "seen"}')


@pytest.mark.parametrize(
    "said, sentence",
    [
        ({"nothing": "tree"}, "has no column 'nothing'; it has tik, tree, stage"),
        ({"tik": "dat"}, "there is no field 'dat' to map a column to; did you mean date"),
    ],
)
def test_a_mapping_that_names_nothing_is_refused(said, sentence):
    with pytest.raises(TableError, match=sentence):
        sheet_of(["tik", "tree", "stage"], said=said, subject="look")


def test_no_header_word_stands_for_two_fields_of_one_table():
    for subject, fields in SUBJECTS.items():
        words = [word for field in fields for word in field.headers]
        assert len(words) == len(set(words)), subject


@pytest.mark.parametrize(
    "cells, days",
    [
        (("21 Sep 2022", "1 Dec", "5 Jan"), ["2022-09-21", "2022-12-01", "2023-01-05"]),
        (("21 Sep 2021", "1 Dec 2022", "5 Jan"), ["2021-09-21", "2022-12-01", "2026-01-05"]),
    ],
)
def test_a_date_without_a_year_is_of_the_one_season_of_its_line(cells, days):
    headers = ("Tree", "Bud break", "Hardened off", "Cut back")
    sheet = read_sheet(TextTable("f.csv", headers, ((2, ("Elm 1", *cells)),)))
    rows = sheet.rows(DateReader(date(2026, 11, 29), SeasonCalendar(7)))
    assert [row.values["earliest"].isoformat() for row in rows] == days


def test_a_tick_that_no_date_stands_for_is_told_as_it_stands():
    sheet = read_sheet(TextTable("f.csv", ("Tree", "Bud break", "Repotted"), ((2, ("Elm 1", "", "x")),)))
    (row,) = sheet.rows(DateReader(date(2026, 11, 29), SeasonCalendar()))
    assert str(row.problems[0]).startswith("f.csv, line 2, column Repotted: read 'x'; ")
