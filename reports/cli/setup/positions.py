"""Where a place is: degrees, heights and time zones as typed, and how they are shown."""

from __future__ import annotations

import re

from data_sources.tables.cells import number_between
from phenology.model.errors import InputError
from phenology.model.records import Place

FEET = 0.3048


def read_latitude(text: str) -> float:
    """Degrees north; "33.9 S" is understood."""
    return _degrees(text, 90, "latitude", "N", "S")


def read_longitude(text: str) -> float:
    """Degrees east; "122.4 W" is understood."""
    return _degrees(text, 180, "longitude", "E", "W")


def read_elevation(text: str) -> float:
    """Metres above the sea; "1017 ft" is understood."""
    match = re.fullmatch(r"\s*(-?[\d.,]+)\s*(m|metres?|meters?|ft|feet|')?\s*", text.casefold())
    if match is None:
        raise InputError(f"'{text}' is no elevation; write metres such as 310, or feet such as 1017ft")
    feet = (match[2] or "m") in ("ft", "feet", "'")
    try:
        metres = float(match[1].replace(",", "." if not feet else "")) * (FEET if feet else 1)
    except ValueError:
        raise InputError(
            f"'{text}' is no elevation; write metres such as 310, or feet such as 1017ft"
        ) from None
    if not -430 <= metres <= 9000:
        raise InputError(f"an elevation of {text} lies outside -430 to 9000 m")
    return round(metres, 1)


def _degrees(text: str, most: float, what: str, plus: str, minus: str) -> float:
    match = re.fullmatch(rf"\s*([+-]?[\d.,]+)\s*°?\s*([{plus}{minus}])?\s*", text.upper())
    if match is None:
        raise InputError(f"'{text}' is no {what}; write decimal degrees from {-most:g} to {most:g}")
    try:
        degrees = number_between(-most, most)(match[1])
    except InputError:
        raise InputError(f"{what} runs from {-most:g} to {most:g}; got {text}") from None
    return -abs(degrees) if match[2] == minus else degrees


def shown_position(place: Place) -> str:
    """A position to read: "47.00 N 8.20 E"."""
    north = f"{abs(place.latitude):.2f} {'N' if place.latitude >= 0 else 'S'}"
    east = f"{abs(place.longitude):.2f} {'E' if place.longitude >= 0 else 'W'}"
    return f"{north} {east}"


def shown_elevation(metres: float | None, units: str) -> str:
    """An elevation in the garden's units."""
    if metres is None:
        return "-"
    return f"{metres / FEET:.0f} ft" if units == "F" else f"{metres:.0f} m"


def check_zone(name: str) -> str:
    """A time zone's name, if there is such a zone."""
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise InputError(f"there is no time zone '{name}'; write one such as Europe/Zurich") from None
    return name
