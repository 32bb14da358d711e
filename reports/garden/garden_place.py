"""Which of the garden's places is meant: the one named, the only one, or asked for."""

from __future__ import annotations

from pathlib import Path

from data_sources.garden import open_journal, read_settings
from phenology.language.words import near_words
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.records import Place


def garden_places(garden: Path) -> list[Place]:
    """The places of a garden; says to run `flushcast init` where there is no garden."""
    read_settings(garden)
    with open_journal(garden) as journal:
        places = journal.places()
    if not places:
        raise InputError("the garden has no place yet; add one with `flushcast place add`")
    return places


def garden_place(garden: Path, name: str | None) -> Place:
    """The place of that name, or the garden's only one.

    Raises
    ------
    StoreError
        If there is no garden.
    UnknownNameError
        If no place has the name.
    InputError
        If the garden has several places and no name was given.
    """
    places = garden_places(garden)
    if name is None:
        if len(places) > 1:
            names = ", ".join(place.name for place in places)
            raise InputError(f"the garden has {len(places)} places; say which with --place: {names}")
        return places[0]
    wanted = name.strip().casefold()
    exact = [place for place in places if place.name.casefold() == wanted or place.id == name]
    if len(exact) == 1:
        return exact[0]
    raise UnknownNameError("place", name, near_words(name, {p.name: p.name for p in places}))
