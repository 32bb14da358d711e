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
    from data_sources.weather.services.protocol import Spot
    from data_sources.weather.services.settings import WeatherSettings
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
    from data_sources.weather.services.asked_log import AskedLog
    from data_sources.weather.services.http import Http
    from data_sources.weather.services.registry import make_services
    from data_sources.weather.store.weather_store import WeatherStore
    from data_sources.weather.update import update_weather
    from reports.text.progress import ProgressLine

    places = [garden.place(place)] if place else garden.some_places
    own = garden.settings
    if own.stands_on:
        raise InputError(f"this garden stands still on {own.stands_on}; its weather is not updated")
    settings = weather_settings(garden)
    answered, offline = False, False
    shown = ProgressLine()

    def announce(words: str) -> None:
        shown.clear()
        say(words)

    now = garden.now
    with Http(settings.http, now=lambda: now) as http, WeatherStore.open(garden.folder, create=True) as store:
        services = make_services(settings, http, only or None)
        for one in places:
            spot = spot_of(one)
            head = f"{one.name}: " if len(places) > 1 else ""
            with shown:
                report = update_weather(
                    store,
                    one.id,
                    spot,
                    services,
                    now=now,
                    years=years or settings.years,
                    past_days=settings.past_days,
                    log=AskedLog(garden.folder, one.id, spot),
                    first_only=first_only,
                    progress=lambda title, done, total: shown.show(f"{title},", done, total),
                    announce=lambda words, head=head: announce(f"{head}{words}"),  # type: ignore[misc]
                )
            if report.offline:
                offline = True
                raise WeatherError(report.lines[0])
            answered |= bool(report.answered)
            for line in [*http.notes, *report.lines]:
                say(f"{head}{line}")
            http.notes.clear()
            for line in refit_corrections(garden.folder, store, one.id, own.units):
                say(f"{head}{line}")
            if store.has(one.id):
                weather = store.find(one.id)
                if weather is not None:
                    put(f"{head}{weather.coverage().line()}")
    if not answered and not offline:
        raise WeatherError("no service gave anything; the weather stays as it is")


@click.command("sources")
@open_garden_option
def sources_command(garden: OpenGarden) -> None:
    """List the weather services: in which order they are asked, what for, and what they need."""
    from data_sources.weather.services.http import Http
    from data_sources.weather.services.registry import SERVICES, make_services
    from data_sources.weather.store.weather_store import WeatherStore

    places = garden.some_places
    settings = weather_settings(garden)
    width = max(map(len, SERVICES))
    with Http(settings.http) as http:
        put("Asked in this order; a later one for the days that an earlier one does not have:")
        for n, service in enumerate(make_services(settings, http), 1):
            put(f"{n:3}  {service.name:{width}}  {service.about}")
            if service.lacks():
                put(f"{'':{width + 5}}  {service.lacks()}")
        others = [name for name in SERVICES if name not in settings.sources]
        if others:
            put("Not asked:")
            for service in make_services(settings, http, others):
                put(f"{'':3}  {service.name:{width}}  {service.about}")
    put("Own readings go before all of them: flushcast weather add FILE")
    put("Another order: flushcast settings weather-sources NAME,NAME,...")
    if (garden.folder / "weather.sqlite").exists():
        with WeatherStore.open(garden.folder) as store:
            lines = [line for one in places if store.has(one.id) for line in store.attribution_lines(one.id)]
        for line in dict.fromkeys(lines):
            put(line)


def weather_settings(garden: OpenGarden) -> WeatherSettings:
    """The settings of the weather services of a garden."""
    from dataclasses import replace

    import platformdirs

    from data_sources.weather.services.http import AGENT, HttpSettings
    from data_sources.weather.services.settings import USUAL_ORDER, WeatherSettings

    settings = garden.settings
    try:
        agent = f"{AGENT}/{version('flushcast')}"
    except PackageNotFoundError:
        agent = AGENT
    folder = Path(platformdirs.user_cache_dir("flushcast", appauthor=False))
    base = WeatherSettings(
        sources=settings.weather_sources or USUAL_ORDER,
        http=HttpSettings(agent=agent, contact=settings.contact or ""),
        cache_folder=folder,
    )
    made = WeatherSettings.from_table(settings.weather_services, base)
    return replace(made, http=replace(made.http, cache_folder=made.cache_folder))


def spot_of(place: Place) -> Spot:
    """Where a place is, for the services; its zone from the nearest town when it is not told."""
    from data_sources.weather.services.protocol import Spot

    zone = place.timezone
    if not zone:
        from data_sources.gazetteer import nearest_town

        town = nearest_town(place.latitude, place.longitude)
        zone = town.timezone
        say(f"{place.name}: taking the time zone of {town.name} ({zone})")
    return Spot(place.latitude, place.longitude, place.elevation, zone)
