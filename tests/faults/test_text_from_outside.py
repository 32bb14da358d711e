"""Text from outside steers nothing: no terminal, no spreadsheet, no drawing, no calendar."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from data_sources.garden import open_journal
from phenology.model.records import Tree
from reports.cli.common import shown
from reports.table import Column, Table
from tests.reports.bench import Bench, new_bench
from tests.reports.demo import FEW, own_demo

EVIL = "\x1b]0;owned\x07\x1b[2J\x9b31m\u202egnp\u2066\u2028x"


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return new_bench(tmp_path / "garden")


def test_control_characters_are_shown_and_not_sent(bench: Bench) -> None:
    bench.does("look", "Elm 1", "soft", "--note", EVIL)
    bench.does("place", "edit", "Bench", "--sun", EVIL)
    for command in (["look", "--list"], ["history"], ["place", "list"], ["undo"]):
        answer = bench.does(*command)
        assert not set(answer.out + answer.err) & set("\x1b\x07\x9b\u202e\u2066\u2028")
    assert "\\u001b]0;owned\\u0007" in bench("look", "--list").out + bench("place", "list").out
    said = bench("look", EVIL, "soft")
    assert said.code == 1
    assert shown("a\tb\r\nc\n\rd") == "a\tb\r\nc\n\\u000dd"


def test_json_stays_json() -> None:
    text = json.dumps({"label": EVIL}, ensure_ascii=False)
    assert json.loads(shown(text)) == {"label": EVIL}


FORMULAS = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'x"]


@pytest.mark.parametrize("text", FORMULAS)
def test_every_csv_marks_what_a_spreadsheet_would_run(text: str) -> None:
    columns: tuple[Column[tuple[str, float]], ...] = (
        Column("label", "text", lambda row: row[0], ""),
        Column("difference", "number", lambda row: row[1], ""),
    )
    told = Table("flushcast.test/1", columns, [(text, -3.0)]).as_csv()
    (row,) = csv.DictReader(io.StringIO(told, newline=""))
    assert row["label"] == f"'{text}"
    assert float(row["difference"]) == -3.0  # a number stays one


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    folder = own_demo(tmp_path_factory.mktemp("demo"), trees=FEW)
    return Bench(folder)


def test_blank_cells_of_a_sheet_are_blank(demo: Bench, tmp_path: Path) -> None:
    demo.does("round", "--csv", tmp_path / "walk.csv")
    with (tmp_path / "walk.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert rows and all(row["stage"] == row["note"] == "" for row in rows)


def test_names_with_lines_do_not_break_a_calendar(demo: Bench, tmp_path: Path) -> None:
    with open_journal(demo.folder) as journal, journal.batch("as an older flushcast did") as batch:
        tree = next(t for t in journal.trees() if t.label == "Crab apple")
        batch.update(Tree, tree.id, label="Crab\r\nEND:VEVENT\r\nBEGIN:VEVENT")
    file = tmp_path / "c.ics"
    demo.does("calendar", "--out", file)
    lines = file.read_bytes().split(b"\r\n")
    assert lines.count(b"BEGIN:VEVENT") == lines.count(b"END:VEVENT") > 0
    assert not any(b"\n" in line or b"\r" in line for line in lines)
    demo.does("calendar", "--out", file)  # it still reads
    demo.does("undo")


@pytest.mark.parametrize("kind", ["svg", "png"])
def test_a_label_with_signs_of_formulas_is_drawn(demo: Bench, tmp_path: Path, kind: str) -> None:
    demo.does("tree", "edit", "Azalea", "--label", r"$\def$ $x_1")
    demo.does("chart", "garden", "--out", tmp_path / f"a.{kind}")
    demo.does("chart", "tree", "--tree", r"$\def$ $x_1", "--out", tmp_path / f"b.{kind}")
    demo.does("undo")
