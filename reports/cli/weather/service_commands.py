"""`flushcast weather update` and `flushcast weather sources`: weather from services."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING

import click

from phenology.model.errors import InputError, WeatherError
from reports.cli.common import open_garden_option, put, say
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from data_sources.weather.services.protocol.service import Spot
    from data_sources.weather.services.transport.settings import WeatherSettings
    from phenology.model.records import Place


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
    from data_sources.weather.corrections_refit import refit_corrections
    from data_sources.weather.request_log import RequestLog
    from data_sources.weather.services.registry import make_services
    from data_sources.weather.services.transport.http import Http
    from data_sources.weather.store.weather_store import WeatherStore
    from data_sources.weather.update import update_weather
    from reports.text.progress import ProgressLine

    places = [garden.place(place)] if place else garden.some_places
    own, settings = garden.settings, weather_settings(garden)
    if own.stands_on:
        raise InputError(f"this garden stands still on {own.stands_on}; its weather is not updated")
    fresh = False
    shown = ProgressLine(wait=0.0)  # a service that is waited for is named at once

    def announce(words: str) -> None:
        shown.clear()
        say(f"{head}{words}")

    now = garden.now
    with Http(settings, now=lambda: now) as http, WeatherStore.open(garden.folder, create=True) as store:
        services = make_services(settings, http, only or None)
        for one in places:
            spot, head = spot_of(one), f"{one.name}: " if len(places) > 1 else ""
            with shown:
                report = update_weather(
                    store,
                    one.id,
                    spot,
                    services,
                    now=now,
                    years=years or settings.years,
                    past_days=settings.past_days,
                    log=RequestLog(garden.folder, one.id, spot),
                    first_only=first_only,
                    progress=lambda title, done, total: shown.show(f"{title},", done, total),
                    announce=announce,
                )
            if report.offline:
                raise WeatherError(report.lines[0])
            fresh |= report.fresh
            lines = [*http.notes, *report.lines, *refit_corrections(garden.folder, store, one.id, own.units)]
            http.notes.clear()
            for line in lines:
                say(f"{head}{line}")
            weather = store.find(one.id) if store.has(one.id) else None
            if weather is not None:
                put(f"{head}{weather.coverage().line()}")
    if not fresh:
        raise WeatherError("no service gave anything; the weather stays as it is")


@click.command("sources")
@open_garden_option
def sources_command(garden: OpenGarden) -> None:
    """List the weather services: in which order they are asked, what for, and what they need."""
    from data_sources.weather.services.registry import SERVICES, make_services
    from data_sources.weather.services.transport.http import Http
    from data_sources.weather.store.weather_store import WeatherStore

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


def weather_settings(garden: OpenGarden) -> WeatherSettings:
    """The settings of the weather services of a garden."""
    import platformdirs

    from data_sources.weather.services.transport.settings import USUAL_ORDER, WeatherSettings

    settings = garden.settings
    try:
        agent = f"flushcast/{version('flushcast')}"
    except PackageNotFoundError:  # run from a checkout
        agent = "flushcast"
    base = WeatherSettings(
        sources=settings.weather_sources or USUAL_ORDER,
        agent=agent,
        contact=settings.contact or "",
        cache_folder=Path(platformdirs.user_cache_dir("flushcast", appauthor=False)),
    )
    return WeatherSettings.from_table(settings.weather_services, base)


def spot_of(place: Place) -> Spot:
    """Where a place is, for the services; its zone from the nearest town when nobody has said it."""
    from data_sources.weather.services.protocol.service import Spot

    zone = place.timezone
    if not zone:
        from data_sources.gazetteer import nearest_town

        town = nearest_town(place.latitude, place.longitude)
        zone = town.timezone
        say(f"{place.name}: taking the time zone of {town.name} ({zone})")
    return Spot(place.latitude, place.longitude, place.elevation, zone)
