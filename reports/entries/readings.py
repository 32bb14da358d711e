"""A grower's weather taken into the garden's store, with the checks that every way in shares."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from data_sources.tables.text_table import printable
from data_sources.weather.files.weather_table import FileReport
from data_sources.weather.place_correction import refit_corrections
from data_sources.weather.store.steps import COLDEST, HOTTEST
from data_sources.weather.store.weather_store import AddReport, Origin, WeatherStore
from phenology.language.degrees import degrees
from phenology.model.errors import WeatherError
from phenology.model.records import Place
from phenology.weather.quality import doubtful_days, shifted_days
from phenology.weather.series import SOURCES, DailyWeather, merge_weather
from reports.garden.open_garden import OpenGarden


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
            f"{file} goes on for {days:,} {'day' if days == 1 else 'days'} after today, from {first}: "
            "check the order of day and month; forecasts are fetched, not added from a file"
        )


def _refuse_no_thermometer(file: str, weather: DailyWeather) -> None:
    """Values that the store would take for damage."""
    for values in (weather.tmin, weather.tmax):
        beyond = np.flatnonzero((values < COLDEST) | (values > HOTTEST))
        if len(beyond):
            day = weather.first_day + timedelta(days=int(beyond[0]))
            read = degrees(float(values[beyond[0]]), sign=" °")
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
