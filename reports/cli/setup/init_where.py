"""Where a new garden is: a town by name, or a position; the zone from the nearest town. No network."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

import click

from phenology.model.errors import InputError
from reports.cli.common import may_ask, say
from reports.cli.setup.place_command import check_zone, read_latitude, read_longitude

if TYPE_CHECKING:
    from data_sources.gazetteer import Town

FAR_KM = 100.0  # a zone taken from farther away is worth a word
T = TypeVar("T")


@dataclass(frozen=True)
class Where:
    """A position as typed or found, and its zone."""

    latitude: str
    longitude: str
    timezone: str


def asked(question: str, read: Callable[[str], T], *, default: str | None = "") -> T:
    """An answer that can be used: a slip is told and asked again."""
    while True:
        typed: str = click.prompt(question, default=default, show_default=False, err=True)
        try:
            return read(typed.strip())
        except InputError as error:
            say(f"  {error}.".replace("..", "."))


def find_where(town: str | None, lat: str | None, lon: str | None, zone: str | None) -> Where:
    """Where the garden is, from flags, and on a terminal from questions."""
    found: Town | None = None
    if not (lat and lon) and not town and may_ask():
        if not lat and not lon:
            question = "Town or village nearby (empty: give latitude and longitude)"
            found = asked(question, lambda typed: _one_of(typed) if typed else None)
        if found is None:
            lat = lat or asked("Latitude, degrees north (12.3 S is understood)", _is(read_latitude))
            lon = lon or asked("Longitude, degrees east (45.6 W is understood)", _is(read_longitude))
    elif town and not (lat and lon):
        found = _one_of(town)
    if lat and lon:  # a town then only helps the reader
        latitude, longitude = lat, lon
    elif found is not None:
        latitude, longitude = str(found.latitude), str(found.longitude)
        say(f"Taking {found.line()}.")
    else:
        raise click.UsageError("say where the garden is: --town Reykjavik, or --lat 47.2 --lon 8.3")
    return Where(latitude, longitude, check_zone(zone) if zone else _zone(latitude, longitude, found))


def _is(read: Callable[[str], float]) -> Callable[[str], str]:
    """An answer as typed, if it can be read."""

    def same(text: str) -> str:
        read(text)
        return text

    return same


def _one_of(name: str) -> Town:
    """The town meant; where several match, or a small one is the only one, the grower is asked.

    Where nobody can be asked, several are told with what to write.
    """
    from data_sources.gazetteer import GREAT, ElsewhereError, among, find_towns, the_town

    if not may_ask():
        return the_town(name)
    try:
        towns = among(find_towns(name))
    except ElsewhereError as error:
        say(f"'{name}' is not in the list of towns; of that name it has:")
        return _chosen(error.towns, usual=0)
    else:
        if len(towns) == 1 and (towns[0].people >= GREAT or "," in name):
            return towns[0]
    return _chosen(towns, usual=1)


def _chosen(towns: Sequence[Town], *, usual: int) -> Town:
    """The town that the grower picks; Enter alone picks the usual one, 0 for none."""
    from data_sources.gazetteer import SHOWN

    shown = towns[:SHOWN]
    for n, town in enumerate(shown, 1):
        say(f"{n:3}  {town.line()}")
    if len(towns) > SHOWN:
        say(f"     and {len(towns) - SHOWN} more: add state or country, such as '{towns[0].name}, ...'")
    choice = click.IntRange(0, len(shown))
    n = click.prompt("Which one (0: none of them)", type=choice, default=usual, err=True)
    if n == 0:
        raise InputError("then add state or country behind a comma, or name a larger town nearby")
    return shown[n - 1]


def _zone(latitude: str, longitude: str, town: Town | None) -> str:
    from data_sources.gazetteer import nearest_town

    if town is None:
        town = nearest_town(read_latitude(latitude), read_longitude(longitude))
    far = town.distance_km is not None and town.distance_km > FAR_KM
    away = f", {town.distance_km:.0f} km away; --timezone says another" if far else ""
    say(f"Time zone {town.timezone}, as in {town.name}{away}.")
    return town.timezone
