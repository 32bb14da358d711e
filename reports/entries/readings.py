"""Weather taken into a garden's store: a grower's readings with their checks, and what services have."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from data_sources.tables.text_table import printable
from data_sources.weather.files.weather_table import FileReport
from data_sources.weather.place_correction import refit_corrections
from data_sources.weather.store.steps import COLDEST, HOTTEST
from data_sources.weather.store.weather_store import AddReport, Origin, WeatherStore
from phenology.language.counts import counted
from phenology.language.degrees import degrees
from phenology.model.errors import InputError, WeatherError
from phenology.model.records import Place
from phenology.weather.quality import doubtful_days, shifted_days
from phenology.weather.series import SOURCES, DailyWeather, merge_weather
from reports.garden.open_garden import OpenGarden

if TYPE_CHECKING:
    from data_sources.weather.services.protocol.service import Spot
    from data_sources.weather.services.transport.settings import WeatherSettings
    from data_sources.weather.update import UpdateReport


@dataclass(frozen=True)
class Readings:
    """What became of a file's days: counts, days that look shifted, and what it corrects, a sentence each."""

    result: AddReport
    shifts: Sequence[str]
    corrections: Sequence[str]


def take_readings(
    garden: OpenGarden, place: Place, weather: DailyWeather, report: FileReport, name: str, measures: str = ""
) -> Readings:
    """Keep the days of a file as measured at a place; they come before what is there of the same source.

    Raises `WeatherError` if it goes on after today, or holds what no thermometer shows.
    """
    _refuse_days_to_come(name, weather, garden.today)
    _refuse_no_thermometer(name, weather)
    detail = " ".join(filter(None, (name, report.station)))
    origin = Origin("file", printable(detail), report.attribution, measures)
    with WeatherStore.open(garden.folder, create=True) as store:
        neighbour = _neighbour(store, place.id, weather)
        doubts = _doubts(store, place.id, weather, neighbour)
        result = store.add(place.id, weather, origin, fetched_at=garden.now, suspect=doubts, prefer=True)
        corrections = refit_corrections(garden.folder, store, place.id, garden.settings.units)
    shifts = shifted_days(weather, neighbour) if neighbour is not None else []
    return Readings(result, [str(shift) for shift in shifts], [str(line) for line in corrections])


def _refuse_days_to_come(file: str, weather: DailyWeather, last: date) -> None:
    later = weather.between(last + timedelta(days=1), date.max)
    if later.known.any():
        first = later.first_day + timedelta(days=int(later.known.argmax()))
        days = int(later.known.sum())
        raise WeatherError(
            f"{file} goes on for {counted(days, 'days')} after today, from {first}: "
            "check the order of day and month; forecasts are fetched, not added from a file"
        )


def _refuse_no_thermometer(file: str, weather: DailyWeather) -> None:
    """Values that the store would take for damage."""
    for values in (weather.tmin, weather.tmax):
        beyond = np.flatnonzero((values < COLDEST) | (values > HOTTEST))
        if len(beyond):
            day = weather.first_day + timedelta(days=int(beyond[0]))
            read = degrees(float(values[beyond[0]]))
            raise WeatherError(f"{file} says {read} on {day}, which no thermometer shows: correct it")


def _doubts(
    store: WeatherStore, place: str, weather: DailyWeather, neighbour: DailyWeather | None
) -> dict[date, str]:
    """Doubtful days of the file, judged together with what the store has of the same source."""
    doubts: dict[date, str] = {}
    for source in (name for name in SOURCES if (weather.source == name).any()):
        before = store.read_source(place, source)
        new = weather.only(weather.source == source)
        series = merge_weather([new, before]) if before is not None else new
        others = neighbour if source != "model" else None  # a model does not know the place well enough
        found = doubtful_days(series, others)
        doubts |= {day: found[day] for day in found if (new.between(day, day).source != "").any()}
    return doubts


def _neighbour(store: WeatherStore, place: str, weather: DailyWeather) -> DailyWeather | None:
    """What other sources say of the same place, the most trusted first."""
    others = [name for name in ("station", "model", "bench") if name not in weather.source]
    series = [part for name in others if (part := store.read_source(place, name)) is not None]
    return merge_weather(series) if series else None


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
