"""How temperatures are written: in one unit at a time, the garden's while its command runs.

Numbers stay degrees Celsius until a sentence is made; as with dates (`date_style`), `using_units` sets the
unit for a stretch of work, and outside one it is degrees Celsius.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Literal

Units = Literal["C", "F"]

_UNITS: ContextVar[Units] = ContextVar("units", default="C")


@contextmanager
def using_units(units: Units) -> Iterator[None]:
    """Write temperatures in these units for a while."""
    token = _UNITS.set(units)
    try:
        yield
    finally:
        _UNITS.reset(token)


def temperature(celsius: float, *, sign: str = "deg") -> str:
    """A temperature, to whole degrees.

    Examples
    --------
    >>> temperature(33.6), temperature(0)
    ('34 degC', '0 degC')
    >>> with using_units("F"):
    ...     temperature(34, sign="°")
    '93 °F'
    """
    units = _UNITS.get()
    value = celsius * 9 / 5 + 32 if units == "F" else celsius
    return f"{value:.0f} {sign}{units}"


def temperature_difference(kelvin: float, *, sign: str = "deg") -> str:
    """A difference of temperatures, which is not moved by 32.

    Examples
    --------
    >>> with using_units("F"):
    ...     temperature_difference(20)
    '36 degF'
    """
    units = _UNITS.get()
    return f"{kelvin * 9 / 5 if units == 'F' else kelvin:.0f} {sign}{units}"
