"""Tables of text, whatever wrote them, and cells that are safe to open in a spreadsheet."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from data_sources.tables.cells import mark, unmark, write_csv
from data_sources.tables.notebook import read_notebook
from data_sources.tables.problems import Problem, TableError
from data_sources.tables.sheet import read_sheet
from data_sources.tables.text_table import TextTable, read_table


@pytest.fixture
def file(tmp_path):
    def write(text: str | bytes, encoding: str = "utf-8") -> Path:
        path = tmp_path / "t.csv"
        path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
        return path

    return write


def test_a_table_knows_its_lines(file):
    table = read_table(file('\nTree , Note\nElm 1,"two\nlines"\n\n,\nElm 2,\n'))
    assert table == TextTable(
        "t.csv", ("Tree", "Note"), ((3, ("Elm 1", "two\nlines")), (7, ("Elm 2", ""))), preamble=("\n",)
    )
    assert table.keys == ("tree", "note")


def test_rows_are_as_wide_as_the_header(file):
    table = read_table(file("a;b;;\n1\n1;2;;\n1;2;3\n"))
    assert table.headers == ("a", "b")
    assert table.rows == ((2, ("1", "")), (3, ("1", "2")))
    assert table.problems == (
        Problem("t.csv", 4, None, "3 cells where the header has 2", "quote cells that hold ';'"),
    )


def test_the_separator_may_be_said(file):
    assert read_table(file("sep=;\r\na,b;c\r\n1;2\r\n")).headers == ("a,b", "c")


@pytest.mark.parametrize(
    "content, sentence",
    [
        ("", "t.csv: the file is empty"),
        (b"\x89PNG\x00\x81\x8d", "not a text file"),
        (b"PK\x03\x04rest of a sheet", "save the sheet as CSV"),
    ],
)
def test_what_is_no_table_is_refused(file, content, sentence):
    with pytest.raises(TableError, match=sentence):
        read_table(file(content))


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for name, sentence in [("none.csv", "there is no file"), (".", "is a folder")]:
        with pytest.raises(TableError, match=sentence):
            read_table(tmp_path / name)


def test_a_column_twice_is_refused(file):
    with pytest.raises(TableError, match="two columns called 'date'"):
        _ = read_table(file("date,Date\n")).keys


@pytest.mark.parametrize(
    "header, told",
    [
        (["tree", *["budbreak"] * 5000], "has 5,000 columns called 'budbreak'"),
        ([f"moon {n}" for n in range(20_000)], "line 1: 20,000 cells in one line"),
        (["x" * 1_600_000], "line 1: a cell here is longer than 1,500,000 letters"),
    ],
)
def test_a_first_line_that_never_ends_is_refused_at_once(file, header, told):
    with pytest.raises(TableError, match=told):
        read_notebook(file(f"{','.join(header)}\n2026-05-01\n"))


def test_of_many_columns_that_are_not_understood_the_first_are_listed(file):
    (table,) = read_notebook(file(",".join(f"moon {n}" for n in range(200))))
    with pytest.raises(TableError, match=r"It has moon 0, moon 1, .*moon 59 and 140 more; say"):
        read_sheet(table)


def test_many_problems_are_counted():
    told = str(TableError([Problem("t.csv", n, "a", f"read 'x{n}'", "write a number") for n in range(2, 42)]))
    assert told.startswith(
        "40 rows cannot be read; nothing was changed.\n  t.csv, line 2, column a: read 'x2'; "
    )
    assert told.endswith("\n  and 10 more")


def test_what_is_wrong_alike_on_several_lines_is_said_once():
    told = str(TableError([Problem("t.csv", n, "a", "read 'x'", "write a number") for n in (2, 3, 9)]))
    assert told == (
        "3 rows cannot be read; nothing was changed.\n"
        "  t.csv, lines 2, 3, 9, column a: read 'x'; write a number"
    )


texts = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=12)


@given(texts)
def test_any_text_survives_the_mark_against_formulas(text):
    marked = mark(text)
    assert unmark(marked) == text
    assert not marked.startswith(("=", "+", "-", "@", "\t", "\r"))


@given(st.lists(st.lists(st.none() | texts, min_size=2, max_size=2), max_size=4))
def test_what_is_written_reads_back(tmp_path_factory, rows):
    path = tmp_path_factory.mktemp("table") / "t.csv"
    assert write_csv(path, ["id", "a", "b"], [["x", *row] for row in rows]) == len(rows)
    read = [
        [None if cell == "" else unmark(cell) for cell in cells[1:]] for _, cells in read_table(path).rows
    ]
    assert read == rows


def test_a_cell_that_looks_like_a_formula_is_written_harmless(tmp_path):
    path = tmp_path / "t.csv"
    write_csv(path, ["note"], [["=HYPERLINK(1)"], ["plain"], [None]])
    assert path.read_text("utf-8") == 'note\n\'=HYPERLINK(1)\nplain\n""\n'
    assert [unmark(cells[0]) for _, cells in read_table(path).rows] == ["=HYPERLINK(1)", "plain"]
