"""From records to a plain DataFrame, and from columns to the docstring that names them."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, TypeVar

import pandas as pd

from reports.table import Column, Kind, Table, frame_column

Columns = Mapping[str, Kind]
R = TypeVar("R")
F = TypeVar("F", bound=Callable[..., Any])

DAY = pd.date_range("2026-01-01", periods=1).dtype
"""Dates as this pandas counts them itself, so that our columns merge with its own."""


def table(rows: Iterable[Mapping[str, Any]], columns: Columns) -> pd.DataFrame:
    """A DataFrame with exactly these columns, in this order; see `reports.table.Table.as_frame`.

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


def frame(columns: Sequence[Column[R]], rows: Iterable[R]) -> pd.DataFrame:
    """Rows as a DataFrame, where no other view is asked for."""
    return Table("flushcast.frame/1", columns, rows).as_frame()


def names_columns(columns: Sequence[Column[Any]]) -> Callable[[F], F]:
    """Write what each column means in place of ``{columns}`` in a method's docstring.

    Examples
    --------
    >>> @names_columns([Column("odds.today", "number", float, "that it ripens"), Column("by", "date", str)])
    ... def frame():
    ...     '''Odds.
    ...
    ...     {columns}
    ...     '''
    >>> print(frame.__doc__)
    Odds.
    <BLANKLINE>
        ``odds_today`` (number): that it ripens; ``by`` (date).
    """
    said = "; ".join(
        f"``{c.flat_in('C')}`` ({c.kind}){f': {c.meaning}' if c.meaning else ''}" for c in columns
    )

    def document(method: F) -> F:
        lines = (method.__doc__ or "").splitlines()
        at = next(k for k, line in enumerate(lines) if line.strip() == "{columns}")
        indent = lines[at].removesuffix("{columns}")
        lines[at : at + 1] = textwrap.wrap(
            f"{said}.", 108, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
        )
        method.__doc__ = "\n".join(lines).rstrip()
        return method

    return document
