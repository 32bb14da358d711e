"""Dates and lists as the grower reads them, in plain English and without a library.

Dates are written as the garden has them: see `phenology.language.date_style`.
"""

from __future__ import annotations

import re
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
    "date_range",
    "date_style",
    "full_date",
    "in_units",
    "listed",
    "short_date",
    "tree_names",
    "weekday_date",
    "weekday_full_date",
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
            plural = (
                stem
                if stem.endswith("s")
                else f"{stem}es"
                if stem.endswith(("ch", "sh", "x"))
                else f"{stem}s"
            )
            return f"{plural} {listed(numbers)}"
    return listed(list(labels))


# A number with its unit; before these words it is a difference, before a lone "d" a degree-day.
_TEMPERATURE = re.compile(
    r"(?<![\w.])(-?\d+(?:\.\d+)?) (degC|°C)(?! d\b)(?= (?P<apart>between|from the days before)\b)?"
)


def in_units(text: str, units: str) -> str:
    """A sentence about temperatures in the garden's units, to whole degrees.

    Examples
    --------
    >>> in_units("34 degC on 3 Jul, above 32 degC", "F")
    '93 degF on 3 Jul, above 90 degF'
    >>> in_units("20 °C between tmin and tmax", "F")  # a difference is not moved by 32
    '36 °F between tmin and tmax'
    >>> in_units("34 degC", "C")
    '34 degC'
    """
    if units != "F":
        return text
    return _TEMPERATURE.sub(
        lambda m: f"{float(m[1]) * 9 / 5 + (0 if m['apart'] else 32):.0f} {m[2].replace('C', 'F')}", text
    )
