"""Dates, lists and paragraphs as the grower reads them, in plain English and without a library.

Dates are written as the garden has them: see `phenology.language.date_style`.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from phenology.language.date_style import SHORT_MONTHS as MONTHS
from phenology.language.date_style import (
    date_range,
    date_style,
    full_date,
    short_date,
    weekday_date,
    weekday_full_date,
)

__all__ = [
    "MONTHS",
    "capital",
    "date_range",
    "date_style",
    "full_date",
    "listed",
    "percent",
    "short_date",
    "tree_names",
    "weekday_date",
    "weekday_full_date",
    "wrapped",
]


def listed(names: Sequence[str]) -> str:
    """Names in a row, with an "and".

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def tree_names(labels: Sequence[str]) -> str:
    """Labels of alike trees, a shared name said once.

    Examples
    --------
    >>> tree_names(["Hornbeam 1", "Hornbeam 3", "Hornbeam 4"]), tree_names(["Elm 2", "Old quince"])
    ('Hornbeams 1, 3 and 4', 'Elm 2 and Old quince')
    """
    parts = [label.rpartition(" ") for label in labels]
    stems = {stem for stem, _, number in parts if number.isdigit()}
    if len(labels) > 1 and len(stems) == 1 and all(number.isdigit() for _, _, number in parts):
        stem = stems.pop()
        if stem:
            numbers = sorted((number for _, _, number in parts), key=int)
            ending = "" if stem.endswith("s") else "es" if stem.endswith(("ch", "sh", "x")) else "s"
            return f"{stem}{ending} {listed(numbers)}"
    return listed(list(labels))


def capital(text: str) -> str:
    """A text begun with a capital."""
    return f"{text[:1].upper()}{text[1:]}"


def percent(odds: float) -> str:
    """Odds in per cent, never as certain.

    Examples
    --------
    >>> percent(0.644), percent(0.9999), percent(0.0)
    ('64%', '99%', '1%')
    """
    return f"{min(99, max(1, round(100 * odds)))}%"


def wrapped(text: str, width: int = 80, hang: str = "  ") -> list[str]:
    """A paragraph as lines no wider than `width`, all but the first indented."""
    return textwrap.wrap(text, width, subsequent_indent=hang, break_on_hyphens=False)
