"""Adding, editing and listing places."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from phenology.language.tree_selection import place_of, plain_spaces
from phenology.language.words import plain_words
from phenology.model.errors import InputError
from phenology.model.records import Place
from reports.cli.writing.desk import UNDO, Desk, table, tell
from reports.cli.writing.place_entry import (
    find_place,
    read_elevation,
    read_latitude,
    read_longitude,
    shown_elevation,
    shown_position,
)

_READ: dict[str, tuple[str, Callable[[str], Any]]] = {
    "lat": ("latitude", read_latitude),
    "lon": ("longitude", read_longitude),
    "elevation": ("elevation", read_elevation),
    "cover": ("cover", plain_spaces),
    "sun": ("sun", plain_spaces),
    "timezone": ("timezone", plain_spaces),
    "note": ("note", plain_spaces),
}


def add(desk: Desk, name: str, given: Mapping[str, str | None]) -> None:
    """Add a place."""
    first = desk.places[0] if desk.places else None
    values = _values(given)
    if first is None and not {"latitude", "longitude"} <= set(values):
        raise InputError("say where it is: --lat and --lon")
    if first is not None and not {"latitude", "longitude"} & set(values):
        values = {
            "latitude": first.latitude,
            "longitude": first.longitude,
            "elevation": first.elevation,
        } | values
    elif not {"latitude", "longitude"} <= set(values):
        raise InputError("--lat and --lon go together")
    place = Place(desk.new_id(), _free_name(desk, name), **values)
    desk.save(f"added place {place.name}", [place])
    tell(f"{place.name}: added, {shown_position(place)}. {UNDO}")


def edit(desk: Desk, name: str, new_name: str | None, given: Mapping[str, str | None]) -> None:
    """Change a place."""
    place = find_place(desk, name)
    changed = replace(place, **_values(given))
    if new_name is not None:
        changed = replace(changed, name=_free_name(desk, new_name, but=place))
    if changed == place:
        raise InputError(
            "nothing to change: give --name, --lat, --lon, --elevation, --cover, --sun or --note"
        )
    what = [
        f"{f} {getattr(changed, f)}"
        for f in ("name", *(n for n, _ in _READ.values()))
        if getattr(changed, f) != getattr(place, f)
    ]
    desk.save(f"changed place {place.name}: {', '.join(what)}", [changed])
    tell(f"{place.name}: {', '.join(what)}. {UNDO}")


def remove(desk: Desk, name: str) -> None:
    """Remove a place no tree ever stood in."""
    place = find_place(desk, name)
    if any(stand.place_id == place.id for stand in desk.stands):
        raise InputError(f"trees stand or stood in {place.name}, so its records need it")
    if len(desk.places) == 1:
        raise InputError("a garden needs at least one place")
    desk.save(f"removed place {place.name}", [], [place])
    tell(f"{place.name}: removed. {UNDO}")


def listing(desk: Desk) -> str:
    """Places with position and the number of trees there today."""
    rows = []
    for place in desk.places:
        here = [
            t for t in desk.trees if t.retired is None and place_of(t.id, desk.stands, desk.today) == place.id
        ]
        more = "; ".join(filter(None, [place.cover, place.sun, place.note]))
        height = shown_elevation(place.elevation, desk.settings.units)
        rows.append([place.name, shown_position(place), height, str(len(here)), more])
    return table(["place", "position", "height", "trees", ""], rows) if rows else "No places yet."


def _values(given: Mapping[str, str | None]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for option, text in given.items():
        if text is None:
            continue
        field, read = _READ[option]
        if not text.strip():
            if field in ("latitude", "longitude", "cover"):
                raise InputError(f"a place needs a {field}")
            values[field] = None
        else:
            values[field] = read(text)
    if values.get("timezone"):
        check_zone(values["timezone"])
    return values


def check_zone(name: str) -> str:
    """A time zone's name, if there is such a zone."""
    from zoneinfo import ZoneInfo

    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise InputError(f"there is no time zone '{name}'; write one such as Europe/Zurich") from None
    return name


def _free_name(desk: Desk, name: str, but: Place | None = None) -> str:
    wanted = plain_spaces(name)
    if not wanted:
        raise InputError("a place needs a name")
    if any(p != but and plain_words(p.name) == plain_words(wanted) for p in desk.places):
        raise InputError(f"there is a place called '{wanted}' already")
    return wanted
