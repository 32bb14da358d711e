"""`flushcast place`: the spots where trees stand, and how their positions are read and shown."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import click

from data_sources.garden import new_id
from data_sources.tables.cells import number_between
from phenology.language.plain_names import name_key, plain_name
from phenology.language.words import plain_words
from phenology.model.errors import InputError
from phenology.model.records import Place
from reports.cli.common import committed, open_garden_option, put, together
from reports.entries.merging import Edit, Readers, differences, merged, text_field
from reports.garden.open_garden import OpenGarden
from reports.views.words import table

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


@click.group("place")
def place_command() -> None:
    """The spots where trees stand: add, list, edit, remove."""


_place_options = together(
    click.option("--lat", metavar="DEGREES", help="Latitude, such as 47.2 or '33.9 S'."),
    click.option("--lon", metavar="DEGREES", help="Longitude, such as 8.3 or '122.4 W'."),
    click.option("--elevation", metavar="METRES", help="Above the sea; '1017ft' is understood."),
    click.option("--cover", metavar="WORD", help="open, shade net, cold frame, greenhouse ..."),
    click.option("--sun", metavar="WORD", help="full, half, morning, shade ..."),
    click.option("--timezone", metavar="ZONE", help="Such as Europe/Zurich."),
    click.option("--note", metavar="TEXT", help="Anything else."),
    open_garden_option,
)


def _field(name: str, read: Callable[[str], Any], *, needed: bool = False) -> Callable[..., dict[str, Any]]:
    """Reads a field; an empty text empties it where the place can do without."""

    def reader(_: OpenGarden, text: str) -> dict[str, Any]:
        if not text.strip() and needed:
            raise InputError(f"a place needs a {name}")
        return {name: read(text) if text.strip() else None}

    return reader


def _read_name(garden: OpenGarden, text: str) -> dict[str, Any]:
    name = plain_name(text)
    if not name:
        raise InputError("a place needs a name")
    return {"name": name}


READERS: Readers = {
    "name": _read_name,
    "lat": _field("latitude", read_latitude, needed=True),
    "lon": _field("longitude", read_longitude, needed=True),
    "elevation": _field("elevation", read_elevation),
    "cover": _field("cover", str.strip, needed=True),
    "sun": text_field("sun"),
    "timezone": _field("timezone", check_zone),
    "note": text_field("note"),
}


@place_command.command("add")
@click.argument("name")
@_place_options
@committed
def add(garden: OpenGarden, **typed: str | None) -> Edit:
    """Add a place; position and height are those of the first place unless given."""
    first = garden.places[0] if garden.places else None
    given = {option for option in ("lat", "lon") if typed[option] is not None}
    if first is None and len(given) < 2:
        raise InputError("say where it is: --lat and --lon")
    if len(given) == 1:
        raise InputError("--lat and --lon go together")
    blank = Place(new_id(), "", 0.0, 0.0)
    if first is not None and not given:
        blank = Place(blank.id, "", first.latitude, first.longitude, first.elevation)
    place = merged(garden, blank, typed, READERS)
    _check_free(garden, place)
    return Edit(f"{place.name}: added, {shown_position(place)}", [place], label=f"added place {place.name}")


@place_command.command("list")
@open_garden_option
def list_places(garden: OpenGarden) -> None:
    """List places and how many trees stand there."""
    rows = [
        [
            place.name,
            shown_position(place),
            shown_elevation(place.elevation, garden.settings.units),
            str(len(garden.standing(place))),
            "; ".join(filter(None, [place.cover, place.sun, place.note])),
        ]
        for place in garden.places
    ]
    put(table(["place", "position", "height", "trees", ""], rows) if rows else "No places yet.")


@place_command.command("edit")
@click.argument("place")
@click.option("--name", metavar="NAME", help="A new name.")
@_place_options
@committed
def edit(garden: OpenGarden, place: str, **typed: str | None) -> Edit:
    """Change a place; what is not given stays, '' empties."""
    old = garden.place(place)
    new = merged(garden, old, typed, READERS)
    if new == old:
        raise InputError(
            "nothing to change: give --name, --lat, --lon, --elevation, --cover, --sun or --note"
        )
    _check_free(garden, new)
    said = f"{old.name}: {differences(old, new)}"
    return Edit(said, [new], label=f"changed place {said}")


@place_command.command("remove")
@click.argument("name")
@open_garden_option
@committed
def remove(garden: OpenGarden, name: str) -> Edit:
    """Remove a place where no tree ever stood."""
    place = garden.place(name)
    if any(stand.place_id == place.id for stand in garden.stands):
        raise InputError(f"trees stand or stood in {place.name}, so its records need it")
    if len(garden.places) == 1:
        raise InputError("a garden needs at least one place")
    return Edit(f"{place.name}: removed", [], [place], label=f"removed place {place.name}")


def _check_free(garden: OpenGarden, place: Place) -> None:
    for other in garden.places:
        if other.id != place.id and plain_words(name_key(other.name)) == plain_words(name_key(place.name)):
            raise InputError(f"there is a place called '{place.name}' already")
