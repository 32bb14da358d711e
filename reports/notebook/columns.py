"""From records to a plain DataFrame: every column has its kind, also when there is not a single row."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import pandas as pd

from reports.table import Kind, frame_column

Columns = Mapping[str, Kind]

DAY = pd.date_range("2026-01-01", periods=1).dtype
"""Dates as this pandas counts them itself, so that our columns merge with its own."""


def table(rows: Iterable[Mapping[str, Any]], columns: Columns) -> pd.DataFrame:
    """A DataFrame with exactly these columns, in this order.

    Parameters
    ----------
    rows : iterable of mappings
        One for each row, with a value for each column; None where nothing is known.
    columns : mapping of name to kind
        ``text`` (missing where None), ``date`` (a date or ISO text; NaT where None), ``time`` (with a
        time zone; comes out in UTC), ``number`` (float, NaN where None), ``whole`` (int, never missing),
        ``yes`` (bool, never missing).

    Examples
    --------
    >>> from datetime import date
    >>> table([{"seen": date(2026, 6, 14), "leaves": None}], {"seen": "date", "leaves": "number"})
            seen  leaves
    0 2026-06-14     NaN
    """
    kept = list(rows)
    return pd.DataFrame({
        name: frame_column([row[name] for row in kept], kind) for name, kind in columns.items()
    })  # fmt: skip
