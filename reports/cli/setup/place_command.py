"""`flushcast place`: the spots where trees stand."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from data_sources.garden import new_id
from phenology.language.plain_names import name_key, plain_name
from phenology.language.words import plain_words
from phenology.model.errors import InputError
from phenology.model.records import Place
from reports.cli.common import open_garden_option, put
from reports.cli.setup.positions import (
    check_zone,
    read_elevation,
    read_latitude,
    read_longitude,
    shown_elevation,
    shown_position,
)
from reports.cli.writing.record_editor import committed
from reports.entries.merging import Edit, Readers, differences, merged, text_field
from reports.garden.open_garden import OpenGarden
from reports.text.lines import table


@click.group("place")
def place_command() -> None:
    """The spots where trees stand: add, list, edit, remove."""


_OPTIONS = (
    click.option("--lat", metavar="DEGREES", help="Latitude; default: as the first place."),
    click.option("--lon", metavar="DEGREES", help="Longitude; default: as the first place."),
    click.option("--elevation", metavar="METRES", help="Above the sea; '1017ft' is understood."),
    click.option("--cover", metavar="WORD", help="open, shade net, cold frame, greenhouse ..."),
    click.option("--sun", metavar="WORD", help="full, half, morning, shade ..."),
    click.option("--timezone", metavar="ZONE", help="Such as Europe/Zurich."),
    click.option("--note", metavar="TEXT", help="Anything else."),
    open_garden_option,
)


def _place_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that describe a place."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


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
