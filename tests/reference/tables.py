"""Rows of the compiled reference tables as test parameters; one skipped test where they are missing."""

from __future__ import annotations

import csv
from collections.abc import Callable
from typing import Any

import pytest

from tests.conftest import SHARED

Row = dict[str, str]


def check_rows(name: str, where: Callable[[Row], bool] = lambda row: True) -> list[Any]:
    """The rows of a reference table that meet a condition, for ``parametrize("row", ...)``."""
    path = SHARED / "data" / "check_values" / f"{name}.csv"
    if not path.is_file():
        reason = f"needs the compiled table '{name}' (see tests/reference/README.md), not kept here"
        return [pytest.param({}, marks=pytest.mark.skip(reason=reason), id="no-table")]
    with path.open(encoding="utf-8", newline="") as lines:
        rows = [(number, row) for number, row in enumerate(csv.DictReader(lines), start=2) if where(row)]
    if not rows:
        raise AssertionError(f"{path.name} holds no row of the kind asked for")
    return [pytest.param(row, id=f"line{number}") for number, row in rows]


def number(text: str) -> float | None:
    """A cell as a number, or None where it is empty."""
    return float(text) if text.strip() else None


def numbers(text: str) -> list[float]:
    """A cell holding several numbers, separated by semicolons."""
    return [float(part) for part in text.split(";")]
