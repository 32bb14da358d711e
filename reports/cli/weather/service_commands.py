"""`flushcast weather update` and `flushcast weather sources`: weather from services."""

from __future__ import annotations

import click

from phenology.model.errors import WeatherError
from reports.cli.common import open_garden_option, put, say
from reports.garden.open_garden import OpenGarden


@click.command("update")
@click.option("--place", metavar="NAME", help="One place; default: every place of the garden.")
@click.option("--only", multiple=True, metavar="SERVICE", help="Ask this service only; may be repeated.")
@click.option("--years", type=click.IntRange(1, 100), help="How many years of history; default 30.")
@click.option("--first", "first_only", is_flag=True, help="Stop as soon as there is enough for a forecast.")
@open_garden_option
def update_command(
    garden: OpenGarden, place: str | None, only: tuple[str, ...], years: int | None, first_only: bool
) -> None:
    """Fetch what is new: measurements, a forecast, and the history that is still missing.

    It can be stopped at any moment (Ctrl-C) and goes on from there the next time.
    """
    from reports.garden.weather_updating import update_places
    from reports.text.progress import ProgressLine

    places = [garden.place(place)] if place else garden.some_places
    fresh, shown = False, ProgressLine(wait=0.0)  # a service that is waited for is named at once

    def announce(words: str) -> None:
        shown.clear()
        say(words)

    with shown:
        for updated in update_places(
            garden,
            places,
            only=only,
            years=years,
            first_only=first_only,
            progress=lambda title, done, total: shown.show(f"{title},", done, total),
            announce=announce,
        ):
            shown.clear()
            fresh |= updated.fresh
            for line in updated.lines:
                say(line)
            if updated.coverage:
                put(updated.coverage)
    if not fresh:
        raise WeatherError("no service gave anything; the weather stays as it is")


@click.command("sources")
@open_garden_option
def sources_command(garden: OpenGarden) -> None:
    """List the weather services: in which order they are asked, what for, and what they need."""
    from data_sources.weather.services.registry import SERVICES, make_services
    from data_sources.weather.services.transport.http import Http
    from data_sources.weather.store.weather_store import WeatherStore
    from reports.garden.weather_updating import weather_settings

    places, settings = garden.some_places, weather_settings(garden)
    width = max(map(len, SERVICES))
    with Http(settings) as http:
        put("Asked in this order; a later one for the days that an earlier one does not have:")
        for n, service in enumerate(make_services(settings, http), 1):
            put(f"{n:3}  {service.name:{width}}  {service.about}")
            for words in filter(None, (service.needs(), service.lacks())):
                put(f"{'':{width + 5}}  {words}")
    others = [service for name, service in SERVICES.items() if name not in settings.sources]
    if others:
        put("Not asked:")
    for other in others:
        put(f"{'':3}  {other.name:{width}}  {other.about}")
    put("Own readings go before all of them: flushcast weather add FILE")
    put("Another order: flushcast settings weather-sources NAME,NAME,...")
    if (garden.folder / "weather.sqlite").exists():
        with WeatherStore.open(garden.folder) as store:
            lines = [line for one in places if store.has(one.id) for line in store.attribution_lines(one.id)]
        for line in dict.fromkeys(lines):
            put(line)
