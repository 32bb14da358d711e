"""`flushcast weather status`: what weather there is, how new it is, and what is doubtful."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from data_sources.garden import read_settings
from data_sources.weather.store.weather_store import WeatherStore
from phenology.weather.series import DailyWeather
from reports.cli.common import garden_option, put
from reports.garden.clock import today as clock_today
from reports.garden.garden_place import garden_place, garden_places
from reports.garden.timestamp import moment_on
from reports.text.weather_text import WeatherState, status_text


@click.command("status")
@click.option("--place", metavar="NAME", help="One place; default: every place of the garden.")
@click.option("--units", type=click.Choice(["C", "F"]), help="Unit to show; default: the garden's.")
@garden_option
def status_command(garden: Path, place: str | None, units: str | None) -> None:
    """Show coverage by year and source, the newest day, the last weeks, doubtful days, where it came from."""
    places = [garden_place(garden, place)] if place else garden_places(garden)
    settings = read_settings(garden)
    today = settings.stands_on or clock_today()
    plain = not _draws(sys.stdout.encoding)
    with WeatherStore.open(garden) as store:
        for n, where in enumerate(places):
            if n:
                put()
            if not store.has(where.id):
                put(f"{where.name}: no weather yet")
                continue
            state = WeatherState(
                where.name,
                store.find(where.id) or DailyWeather(today, [], [], "station"),
                store.suspicious_days(where.id),
                store.origin_uses(where.id),
                store.replaced_count(where.id),
            )
            for line in status_text(
                state, today, moment_on(today), units=units or settings.units, plain=plain
            ):
                put(line)


def _draws(encoding: str | None) -> bool:
    """Whether the terminal can show the picture's characters."""
    try:
        "█▒░·°".encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
