"""Where a new garden is: a town by name, or a position; the zone from the nearest town. No network."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from reports.cli.common import may_ask, say
from reports.cli.setup.positions import check_zone, read_latitude, read_longitude

if TYPE_CHECKING:
    from data_sources.gazetteer import Town

FAR_KM = 100.0  # a zone taken from farther away is worth a word


@dataclass(frozen=True)
class Where:
    """A position as typed or found, and its zone."""

    latitude: str
    longitude: str
    timezone: str


def find_where(town: str | None, lat: str | None, lon: str | None, zone: str | None) -> Where:
    """Where the garden is, from flags, and on a terminal from questions.

    Raises
    ------
    InputError
        If a town is unknown, or one of several and nobody can be asked which.
    click.UsageError
        If nothing tells where the garden is.
    """
    if not (lat and lon) and not town and may_ask():
        if not lat and not lon:
            question = "Town or village nearby (empty: give latitude and longitude)"
            town = click.prompt(question, default="", show_default=False, err=True).strip()
        if not town:
            lat = lat or click.prompt("Latitude, degrees north (12.3 S is understood)", err=True)
            lon = lon or click.prompt("Longitude, degrees east (45.6 W is understood)", err=True)
    found: Town | None = None
    if lat and lon:  # a town then only helps the reader
        latitude, longitude = lat, lon
    elif town:
        found = _one_of(town)
        latitude, longitude = str(found.latitude), str(found.longitude)
        say(f"Taking {found.line()}.")
    else:
        raise click.UsageError("say where the garden is: --town Reykjavik, or --lat 47.2 --lon 8.3")
    return Where(latitude, longitude, check_zone(zone) if zone else _zone(latitude, longitude, found))


def _one_of(name: str) -> Town:
    """The town meant; where several match, the grower is asked, or told what to write."""
    from data_sources.gazetteer import SHOWN, find_towns, the_town

    towns = find_towns(name)
    if len(towns) == 1 or not may_ask():
        return the_town(name)
    shown = towns[:SHOWN]
    for n, town in enumerate(shown, 1):
        say(f"{n:3}  {town.line()}")
    if len(towns) > SHOWN:
        add = f"'{name.strip()}, {shown[0].country}'"
        say(f"     and {len(towns) - SHOWN} more: stop and add the country, such as {add}")
    n = click.prompt("Which one", type=click.IntRange(1, len(shown)), default=1, err=True)
    return shown[n - 1]


def _zone(latitude: str, longitude: str, town: Town | None) -> str:
    from data_sources.gazetteer import nearest_town

    if town is None:
        town = nearest_town(read_latitude(latitude), read_longitude(longitude))
    far = town.distance_km is not None and town.distance_km > FAR_KM
    if may_ask():
        zone: str = click.prompt("Time zone", default=town.timezone, err=True)
        return check_zone(zone)
    away = f", {town.distance_km:.0f} km away; --timezone says another" if far else ""
    say(f"Time zone {town.timezone}, as in {town.name}{away}.")
    return town.timezone
