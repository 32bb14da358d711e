"""How temperatures are written: in °C, or in °F while a command runs for a garden that shows those.

As with dates (see `phenology.language.date_style`), many sentences hold one; the unit is set for a stretch of
work instead of being handed through all of them, and a number is turned into words once, here.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_UNITS: ContextVar[str] = ContextVar("units of temperature", default="C")


@contextmanager
def using_units(units: str) -> Iterator[None]:
    """Write temperatures in "C" or "F" for a while."""
    token = _UNITS.set(units)
    try:
        yield
    finally:
        _UNITS.reset(token)


def degrees(celsius: float, units: str | None = None) -> str:
    """A temperature as a grower reads it; whole degrees in °F.

    Round before what decimals tell nothing. Without `units` those in use are taken.

    Examples
    --------
    >>> degrees(18, "F"), degrees(5.0), degrees(-2)
    ('64 °F', '5 °C', '-2 °C')
    >>> with using_units("F"):
    ...     degrees(32.5)
    '90 °F'
    """
    shown = units or _UNITS.get()
    number = f"{celsius * 1.8 + 32:.0f}" if shown == "F" else f"{celsius:g}"
    return f"{number} °{shown}"


def degrees_apart(celsius: float, units: str | None = None) -> str:
    """The same of a difference between temperatures, which 32 does not move; whole degrees.

    Examples
    --------
    >>> degrees_apart(20), degrees_apart(20, "F")
    ('20 °C', '36 °F')
    """
    shown = units or _UNITS.get()
    return f"{celsius * (1.8 if shown == 'F' else 1):.0f} °{shown}"
