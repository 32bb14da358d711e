"""Dates and lists as the grower reads them, in plain English and without a library."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def short_date(day: date) -> str:
    """A day and month.

    Examples
    --------
    >>> short_date(date(2026, 7, 4))
    '4 Jul'
    """
    return f"{day.day} {MONTHS[day.month - 1]}"


def weekday_date(day: date) -> str:
    """A weekday, day and month.

    Examples
    --------
    >>> weekday_date(date(2026, 7, 4))
    'Sat 4 Jul'
    """
    return f"{WEEKDAYS[day.weekday()]} {short_date(day)}"


def date_range(first: date, last: date) -> str:
    """A span of days, the month said once.

    Examples
    --------
    >>> date_range(date(2026, 7, 4), date(2026, 7, 9)), date_range(date(2026, 6, 29), date(2026, 7, 10))
    ('4-9 Jul', '29 Jun-10 Jul')
    """
    if first == last:
        return short_date(first)
    if (first.year, first.month) == (last.year, last.month):
        return f"{first.day}-{short_date(last)}"
    return f"{short_date(first)}-{short_date(last)}"


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
            plural = (
                stem
                if stem.endswith("s")
                else f"{stem}es"
                if stem.endswith(("ch", "sh", "x"))
                else f"{stem}s"
            )
            return f"{plural} {listed(numbers)}"
    return listed(list(labels))


def in_units(text: str, units: str) -> str:
    """A sentence about temperatures in the garden's units.

    Examples
    --------
    >>> in_units("34 degC on 3 Jul, above 32 degC", "F")
    '93 degF on 3 Jul, above 90 degF'
    >>> in_units("34 degC", "C")
    '34 degC'
    """
    if units != "F":
        return text
    return re.sub(r"(-?\d+(?:\.\d+)?) degC", lambda m: f"{float(m[1]) * 9 / 5 + 32:.0f} degF", text)
