"""Fetching what is new of a garden's weather, place after place, for commands and pages."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING

from phenology.model.errors import InputError, WeatherError
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from data_sources.weather.services.protocol.service import Spot
    from data_sources.weather.services.transport.settings import WeatherSettings
    from data_sources.weather.update import UpdateReport
    from phenology.model.records import Place


def update_places(
    garden: OpenGarden,
    places: Sequence[Place],
    *,
    only: Sequence[str] = (),
    years: int | None = None,
    first_only: bool = False,
    progress: Callable[[str, int, int], None],
    announce: Callable[[str], None],
) -> Iterator[UpdateReport]:
    """Fetch what is new at each place, and say what became of it; see `update_weather`.

    By default the services of the settings are asked, not `only` some. Raises `InputError` if the garden
    stands still on a day, `WeatherError` if no service can be reached.
    """
    from data_sources.weather.place_correction import refit_corrections
    from data_sources.weather.request_log import RequestLog
    from data_sources.weather.services.registry import make_services
    from data_sources.weather.services.transport.http import Http
    from data_sources.weather.store.weather_store import WeatherStore
    from data_sources.weather.update import update_weather

    own, settings, now = garden.settings, weather_settings(garden), garden.now
    if own.stands_on:
        raise InputError(f"this garden stands still on {own.stands_on}; its weather is not updated")
    with Http(settings, now=lambda: now) as http, WeatherStore.open(garden.folder, create=True) as store:
        services = make_services(settings, http, only or None)
        for one in places:
            head = f"{one.name}: " if len(places) > 1 else ""
            spot = spot_of(one, announce)
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
                progress=progress,
                announce=partial(_beginning, head, announce),
            )
            if report.offline:
                raise WeatherError(report.lines[0])
            lines = [*http.notes, *report.lines, *refit_corrections(garden.folder, store, one.id, own.units)]
            http.notes.clear()
            report.lines = [f"{head}{line}" for line in lines]
            weather = store.find(one.id)
            report.coverage = f"{head}{weather.coverage().line()}" if weather is not None else ""
            yield report


def _beginning(head: str, announce: Callable[[str], None], words: str) -> None:
    announce(f"{head}{words}")


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


def spot_of(place: Place, announce: Callable[[str], None]) -> Spot:
    """Where a place is, for the services; its zone from the nearest town when nobody has said it."""
    from data_sources.weather.services.protocol.service import Spot

    zone = place.timezone
    if not zone:
        from data_sources.gazetteer import nearest_town

        town = nearest_town(place.latitude, place.longitude)
        zone = town.timezone
        announce(f"{place.name}: taking the time zone of {town.name} ({zone})")
    return Spot(place.latitude, place.longitude, place.elevation, zone)
