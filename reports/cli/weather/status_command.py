"""`flushcast weather status`: what weather there is, how new it is, and what is doubtful."""

from __future__ import annotations

import sys

import click

from data_sources.weather.store.weather_store import WeatherStore
from phenology.weather.series import DailyWeather
from reports.cli.common import open_garden_option, put
from reports.garden.open_garden import OpenGarden
from reports.text.weather_text import WeatherState, status_text


@click.command("status")
@click.option("--place", metavar="NAME", help="One place; default: every place of the garden.")
@click.option("--units", type=click.Choice(["C", "F"]), help="Unit to show; default: the garden's.")
@open_garden_option
def status_command(garden: OpenGarden, place: str | None, units: str | None) -> None:
    """Show coverage by year and source, the newest day, the last weeks, doubtful days, where it came from."""
    places = [garden.place(place)] if place else garden.some_places
    settings = garden.settings
    today = garden.today
    plain = not _draws(sys.stdout.encoding)
    with WeatherStore.open(garden.folder) as store:
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
                len(store.replaced_days(where.id)),
            )
            for line in status_text(state, today, garden.now, units=units or settings.units, plain=plain):
                put(line)


def _draws(encoding: str | None) -> bool:
    """Whether the terminal can show the picture's characters."""
    try:
        "█▒░·°".encode(encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
