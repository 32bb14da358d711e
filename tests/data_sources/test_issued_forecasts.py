"""What the last forecasts told is remembered, a few days apart, and lost without harm."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from pathlib import Path

from data_sources.kept_notes import ISSUED, MOST_KEPT, keep_issued, read_issued
from phenology.advice.forecast_change import Issued

KEY = ("elm", 2026, 1, "hardened")
DAY = date(2026, 6, 1)


def told(middle: float) -> dict:
    return {KEY: Issued(middle - 5, middle, None)}


def test_what_was_told_comes_back(tmp_path: Path) -> None:
    keep_issued(tmp_path, DAY, told(160.25))
    assert read_issued(tmp_path) == {DAY: {KEY: Issued(155.25, 160.25, None)}}


def test_a_forecast_every_morning_does_not_push_out_what_was_told_a_week_ago(tmp_path: Path) -> None:
    for n in range(20):
        keep_issued(tmp_path, DAY + timedelta(days=n), told(160 + n))
    kept = [(day - DAY).days for day in read_issued(tmp_path)]
    assert len(kept) <= MOST_KEPT and kept[-1] == 19
    assert kept[0] <= 12
    gaps = [b - a for a, b in pairwise(kept[:-1])]
    assert all(gap >= 3 for gap in gaps)


def test_going_back_in_time_forgets_the_future(tmp_path: Path) -> None:
    keep_issued(tmp_path, DAY, told(160))
    keep_issued(tmp_path, DAY - timedelta(days=9), told(150))
    assert list(read_issued(tmp_path)) == [DAY - timedelta(days=9)]


def test_an_unreadable_memory_is_begun_anew(tmp_path: Path) -> None:
    for text in ("", "{", "[1]", '{"2026-06-01": [["elm"]]}', '{"soon": []}'):
        (tmp_path / ISSUED).write_text(text)
        assert read_issued(tmp_path) == {}
        keep_issued(tmp_path, DAY, told(160))
        assert list(read_issued(tmp_path)) == [DAY]


def test_a_folder_that_cannot_be_written_costs_nothing(tmp_path: Path) -> None:
    keep_issued(tmp_path / "not there", DAY, told(160))
    assert read_issued(tmp_path / "not there") == {}
