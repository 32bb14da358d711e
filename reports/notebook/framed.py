"""From rows to a plain DataFrame, and to the docstring that names its columns."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence
from functools import wraps
from typing import Any, ParamSpec, TypeVar

import pandas as pd
from threadpoolctl import threadpool_limits

from reports.table import Column, Table

P = ParamSpec("P")
R = TypeVar("R")
T = TypeVar("T")

DAY = pd.date_range("2026-01-01", periods=1).dtype
"""Dates as this pandas counts them itself, so that our columns merge with its own."""


def on_one_thread(function: Callable[P, T]) -> Callable[P, T]:
    """Keep linear algebra to one thread while a function runs: for our small matrices more cost time.

    A notebook has loaded the library long before, and has its threads again afterwards.
    """

    @wraps(function)
    def limited(*args: P.args, **kwargs: P.kwargs) -> T:
        with threadpool_limits(1, "blas"):
            return function(*args, **kwargs)

    return limited


def framed(
    columns: Sequence[Column[R]], row: str
) -> Callable[[Callable[P, Iterable[R]]], Callable[P, pd.DataFrame]]:
    """Make of a method that returns rows one that returns their DataFrame, and say so in its docstring.

    Parameters
    ----------
    columns : sequence of Column
        Of the frame; see `reports.table.Table.as_frame`.
    row : str
        What a row is, such as "a tree"; more may be said behind it.

    Examples
    --------
    >>> @framed([Column("odds.today", "number", float, "that it ripens"), Column("by", "text", str)], "a cut")
    ... def odds():
    ...     '''Odds.
    ...
    ...     >>> odds()
    ...     '''
    ...     return [0.5]
    >>> odds()
       odds_today   by
    0         0.5  0.5
    >>> print(odds.__doc__.partition(">>>")[0])
    Odds.
    <BLANKLINE>
    Returns
    -------
    DataFrame, one row a cut
        ``odds_today`` (number): that it ripens; ``by`` (text).
    <BLANKLINE>
    Examples
    --------
    """

    def decorated(method: Callable[P, Iterable[R]]) -> Callable[P, pd.DataFrame]:
        @wraps(method)
        @on_one_thread
        def frame(*args: P.args, **kwargs: P.kwargs) -> pd.DataFrame:
            return Table("", columns, method(*args, **kwargs)).as_frame()

        method.__annotations__["return"] = frame.__annotations__["return"] = "pd.DataFrame"
        frame.__doc__ = _documented(method.__doc__ or "", columns, row)
        return frame

    return decorated


def _documented(doc: str, columns: Sequence[Column[Any]], row: str) -> str:
    """A docstring with what is returned before its example, or before what is raised."""
    first, _, rest = doc.partition("\n")
    text = f"{first}\n{textwrap.dedent(rest)}".rstrip()
    words, example, shown = text.partition(">>> ")
    words, raises, why = words.partition("Raises\n------\n")
    named = "; ".join(
        f"``{c.flat_in('C')}`` ({c.kind}){f': {c.meaning}' if c.meaning else ''}" for c in columns
    )
    indent = " " * 4
    told = textwrap.fill(
        f"{named}.", 108, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
    )
    parts = [words.rstrip(), f"Returns\n-------\nDataFrame, one row {row}\n{told}"]
    parts += [f"{raises}{why.rstrip()}"] if raises else []
    parts += [f"Examples\n--------\n{example}{shown}"] if example else []
    return "\n\n".join(parts)
