"""Finding and checking places, for the commands that name one."""

from __future__ import annotations

import re

from data_sources.tables.cells import number_between
from phenology.language.words import near_words, plain_words
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.records import Place
from reports.cli.writing.desk import Desk

FEET = 0.3048


def find_place(desk: Desk, name: str) -> Place:
    """The place of that name, or the only one whose name begins so.

    Raises
    ------
    UnknownNameError
        If there is none; near matches are offered.
    InputError
        If several begin so.
    """
    wanted = plain_words(name)
    exact = [p for p in desk.places if plain_words(p.name) == wanted]
    found = exact or [p for p in desk.places if wanted and plain_words(p.name).startswith(wanted)]
    if len(found) == 1:
        return found[0]
    if found:
        raise InputError(f"'{name}' may be {' or '.join(p.name for p in found)}; write more of the name")
    near = near_words(name, {plain_words(p.name): p.name for p in desk.places})
    raise UnknownNameError("place", name, near or tuple(p.name for p in desk.places[:3]))


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
