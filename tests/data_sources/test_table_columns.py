"""Which column of a spreadsheet is which."""

from __future__ import annotations

import pytest

from data_sources.tables.columns import FIELDS, NEEDED, read_columns, to_remember
from phenology.model.errors import InputError


@pytest.mark.parametrize(
    "headers, target, mapping",
    [
        (["date", "tree", "species", "flush", "stage"], "look", {"stage": "stage", "tree": "tree"}),
        (["when", "plant", "state", "remarks"], "look", {"when": "date", "plant": "tree", "remarks": "note"}),
        (["day", "tree", "job"], "work", {"job": "operation"}),
        (["name", "latin name", "pot size"], "tree", {"name": "label", "pot size": "pot"}),
        (["place", "lat", "lon"], "place", {"lat": "latitude"}),
        (["date", "tree", "stage", "moon"], "look", {"moon": "-"}),
    ],
)
def test_everyday_headers_are_understood(headers, target, mapping):
    columns = read_columns("f.csv", headers)
    assert columns.target == target
    assert mapping.items() <= columns.mapping.items()


def test_unknown_headers_ask_with_an_example():
    with pytest.raises(InputError, match=r"f\.csv: which column is the date .*--map 'datum=date'"):
        read_columns("f.csv", ["datum", "baum", "stage"], target="look")


def test_a_mapping_is_said_once_and_remembered():
    headers = ["datum", "baum", "stadium"]
    said = {"Datum": "date", "baum": "tree", "stadium": "stage"}
    columns = read_columns("f.csv", headers, given=said, options={"order": "day-first"})
    kept = to_remember(columns, "id")
    assert kept is not None
    again = read_columns("g.csv", ["baum", "datum", "stadium"], remembered=[kept])
    assert (again.target, again.remembered, again.options) == ("look", kept, {"order": "day-first"})
    assert to_remember(again, "other") is None
    assert dict(again.mapping) == dict(columns.mapping)
    assert again.fields_of({"datum": "4 July", "baum": "Elm 1", "stadium": "soft"}) == {
        "date": "4 July",
        "tree": "Elm 1",
        "stage": "soft",
    }
    assert again.header_of("tree") == "baum"


def test_plain_headers_need_no_remembering():
    assert to_remember(read_columns("f.csv", ["date", "tree", "stage"]), "id") is None


def test_what_is_said_anew_replaces_what_was_remembered():
    first = read_columns("f.csv", ["datum", "tree", "stage"], given={"datum": "date"})
    kept = to_remember(first, "id")
    again = read_columns("f.csv", ["datum", "tree", "stage"], options={"kind": "seen"}, remembered=[kept])
    replaced = to_remember(again, "other")
    assert (replaced.id, replaced.mapping, replaced.options) == ("id", kept.mapping, '{"kind": "seen"}')


@pytest.mark.parametrize(
    "said, sentence",
    [
        ({"nothing": "tree"}, "has no column 'nothing'; it has datum, tree, stage"),
        ({"datum": "dat"}, "there is no field 'dat' to map a column to; did you mean date"),
    ],
)
def test_a_mapping_that_names_nothing_is_refused(said, sentence):
    with pytest.raises(InputError, match=sentence):
        read_columns("f.csv", ["datum", "tree", "stage"], given=said, target="look")


def test_no_header_word_stands_for_two_fields_of_one_table():
    for target, fields in FIELDS.items():
        words = [word for name, more in fields.items() for word in (name, *more)]
        assert len(words) == len(set(words)), target
        assert set(NEEDED[target]) <= set(fields)
