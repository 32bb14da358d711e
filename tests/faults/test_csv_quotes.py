"""A quote that is opened and never closed, or closed rows later, is found and named; no row is swallowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from data_sources.tables.problems import TableError
from data_sources.tables.text_table import split_table
from data_sources.weather.files.reader import read_weather_file
from tests.reports.bench import new_bench

LOOKS = """date,tree,stage,note
2026-04-02,Elm 1,budbreak,
2026-04-22,Elm 1,extending,{}
2026-05-12,Elm 1,extended,
2026-06-02,Elm 1,hardened,{}
"""


@pytest.mark.parametrize(
    ("first", "second", "line"),
    [
        ('"soft', "", 3),  # never closed
        ("", '"5 leaves', 5),
        ('"soft', 'firm"', 3),  # closed two rows later
        ('"soft at the top', '"', 3),
        ('firm\n2026-05-01,Elm 1,extending,"so', "", 4),
    ],
)
def test_looks_with_an_unclosed_quote_are_refused(tmp_path: Path, first: str, second: str, line: int) -> None:
    bench = new_bench(tmp_path / "garden")
    file = tmp_path / "looks.csv"
    for ending in ("\n", ""):
        file.write_text(LOOKS.format(first, second).removesuffix("\n") + ending)
        said = bench.refuses("import", file)
        assert f"looks.csv, line {line}: a quote" in " ".join(said.split())
        assert (
            "No looks" in bench.does("look", "--list").out
            or "No look yet" in bench.does("look", "--list").out
        )


def test_quotes_that_belong_to_a_cell_are_read_as_before(tmp_path: Path) -> None:
    text = 'date,tree,note\n1,"Elm 1","two\nlines, of a note"\n2,Elm 1,5" pot\n3,Elm 1,"say ""when"""\n'
    rows = split_table("x.csv", text).rows
    assert [line for line, _ in rows] == [2, 4, 5]
    assert [cells[2] for _, cells in rows] == ["two\nlines, of a note", '5" pot', 'say "when"']


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_weather_with_an_unclosed_quote_is_refused(tmp_path: Path, separator: str) -> None:
    rows = [["date", "tmin", "tmax"], *([f"2026-05-{n:02d}", "5", "15"] for n in range(1, 30))]
    rows[9][0] = '"' + rows[9][0]
    file = tmp_path / "weather.csv"
    file.write_text("\n".join(separator.join(row) for row in rows) + "\n")
    with pytest.raises(TableError, match=r"weather\.csv, line 10: a quote is opened here and never closed"):
        read_weather_file(file, units="C")
    rows[20][2] += '"'
    file.write_text("\n".join(separator.join(row) for row in rows) + "\n")
    with pytest.raises(TableError, match=r"weather\.csv, line 10: a quote"):
        read_weather_file(file, units="C")


def test_an_import_of_which_the_records_cannot_be_kept_takes_its_weather_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from contextlib import contextmanager

    from data_sources.journal.store import Journal
    from phenology.model.errors import StoreError

    bench = new_bench(tmp_path / "garden")
    (tmp_path / "w.csv").write_text("date,tmin,tmax\n2026-04-01,4,12\n2026-04-02,5,13\n")
    bench.does("weather", "add", tmp_path / "w.csv", "--units", "C")
    bench.does("look", "Elm 1", "soft")
    bench.does("export", tmp_path / "out")
    bench.does("undo")
    bench.does("weather", "undo")
    held = Journal.held

    @contextmanager
    def full(self: Journal):  # type: ignore[no-untyped-def]
        with held(self):
            yield
            raise StoreError("saving failed: the disk is full. Nothing was saved.")

    monkeypatch.setattr(Journal, "held", full)
    assert "the disk is full" in bench.refuses("import", tmp_path / "out")
    monkeypatch.undo()
    assert "soft" not in bench.does("look", "--list").out
    assert "2 new days of weather" in bench.does("import", tmp_path / "out").words


def test_a_quote_closed_on_the_next_row_is_seen_too() -> None:
    with pytest.raises(TableError, match=r"line 2: a quote opened here is closed only on line 3"):
        split_table("x.csv", 'date,tree,note\n1,Elm 1,"soft\n2,Elm 2,firm"\n')
