"""One table a result: every view tells the same values under the same names."""

from __future__ import annotations

import csv
import io
import json
import subprocess
import sys
from dataclasses import dataclass
from datetime import UTC, date, datetime

import pandas as pd
import pytest

from phenology.language.date_style import DateStyle, using_dates
from reports.table import Column, Table, json_text


@dataclass(frozen=True)
class Pot:
    """A row with one of everything."""

    label: str
    season: int = 2025
    seen: tuple[date | None, date | None] = (None, date(2026, 6, 14))
    day: float | None = 164.031
    warmth: float | None = 10.04
    heat: float | None = 100.0
    notes: tuple[str, ...] = ("dry", "in sun")


COLUMNS = (
    Column[Pot]("pot", "id", lambda p: f"pot-{p.label}"),
    Column("label", "text", lambda p: p.label),
    Column("season", "season", lambda p: p.season),
    Column("seen.after", "date", lambda p: p.seen[0], listed=True),
    Column("seen.by", "date", lambda p: p.seen[1], listed=True),
    Column("day.p50", "day", lambda p: p.day, digits=2),
    Column("warmest", "temperature", lambda p: p.warmth, digits=1),
    Column("degree_days", "degree_days", lambda p: p.heat, digits=0),
    Column("count", "whole", lambda p: len(p.notes)),
    Column("wet", "yes", lambda p: "dry" not in p.notes),
    Column("written", "time", lambda p: datetime(2026, 6, 14, 12, tzinfo=UTC)),
    Column("notes", "texts", lambda p: p.notes),
)
POTS = (Pot("Elm"), Pot("Oak", 2026, (None, None), None, None, None, ()))


def pots(units: str = "C", rows: tuple[Pot, ...] = POTS) -> Table[Pot]:
    return Table("example.pots/1", COLUMNS, rows, units=units, season_label=lambda s: f"{s}/{s % 100 + 1}")


def test_json_nests_at_the_dots_and_tells_nothing_as_null() -> None:
    told = json.loads(pots().as_json(as_of=date(2026, 6, 14)))
    assert list(told) == ["schema", "as_of", "rows"]
    assert told["schema"] == "example.pots/1" and told["as_of"] == "2026-06-14"
    assert told["rows"][0] == {
        "pot": "pot-Elm",
        "label": "Elm", "season": "2025/26", "seen": [None, "2026-06-14"], "day": {"p50": 164.04},
        "warmest": 10.0, "degree_days": 100, "count": 2, "wet": False,
        "written": "2026-06-14T12:00:00+00:00", "notes": ["dry", "in sun"],
    }  # fmt: skip
    assert told["rows"][1]["seen"] == [None, None] and told["rows"][1]["warmest"] is None
    assert told["rows"][1]["day"] == {"p50": None} and told["rows"][1]["notes"] == []


def test_units_are_turned_at_the_last_step_and_a_degree_day_is_not_shifted() -> None:
    row = pots("F").records()[0]
    assert row["warmest"] == 50.1  # 10.04 °C, not the 10.0 that was told
    assert row["degree_days"] == 180 and row["day"] == {"p50": 164.04}
    assert "warmest_f,degree_days_f" in pots("F").as_csv()
    assert pots("F").as_frame()["warmest_c"].tolist()[0] == 10.0


def test_csv_is_flat_and_can_leave_columns_out() -> None:
    rows = list(csv.DictReader(io.StringIO(pots().as_csv(without=("seen", "written")))))
    assert list(rows[0]) == [
        "pot", "label", "season", "day_p50", "warmest_c", "degree_days_c", "count", "wet", "notes"
    ]  # fmt: skip
    assert rows[0]["notes"] == "dry; in sun" and rows[0]["season"] == "2025/26"
    assert rows[1]["day_p50"] == "" and rows[1]["notes"] == ""


def test_a_frame_keeps_its_types_without_a_row() -> None:
    full, empty = pots().as_frame(), pots(rows=()).as_frame()
    assert len(empty) == 0 and empty.dtypes.to_dict() == full.dtypes.to_dict()
    assert full.columns[0] == "label" and full.columns[-1] == "pot"  # ids stand last
    assert full["season"].tolist() == [2025, 2026] and full["count"].dtype == "int64"
    assert full["seen_by"].dtype == pd.date_range("2026-01-01", periods=1).dtype
    assert pd.isna(full["notes"][1]) and pd.isna(full["day_p50"][1]) and full["written"].dt.tz is not None


@pytest.mark.parametrize("width", [40, 72])
def test_text_fits_the_terminal_and_follows_the_garden(width: int) -> None:
    with using_dates(DateStyle("month-first")):
        told = pots("F").as_text(width, only=("label", "seen.by", "warmest", "notes"))
    heads, elm, oak, *_ = told.splitlines()
    assert heads.split() == ["label", "seen.by", "warmest", "notes"]
    assert elm.split() == ["Elm", "Jun", "14", "50.1", "dry;", "in", "sun"]
    assert oak.split() == ["Oak", ".", ".", "."]
    assert all(len(line) <= width and line == line.rstrip() for line in told.splitlines())


def test_a_value_is_taken_from_its_row_once() -> None:
    asked: list[str] = []
    table = Table(
        "example/1", [Column[str]("name", "text", lambda row: asked.append(row) or row)], ["a", "b"]
    )
    table.records(), table.as_csv(), table.as_frame(), table.as_text(80)
    assert asked == ["a", "b"]


def test_what_json_cannot_hold_is_an_error() -> None:
    with pytest.raises(TypeError, match="cannot be written as JSON"):
        json_text("example/1", {"row": object()})


def test_only_the_view_that_needs_it_loads_a_library() -> None:
    code = (
        "import sys\n"
        "from reports.table import Column, Table\n"
        "table = Table('a/1', [Column('a', 'number', lambda row: row, digits=1)], [1.25])\n"
        "table.as_json(), table.as_csv()\n"
        "print(*({'pandas', 'rich', 'numpy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == ""
