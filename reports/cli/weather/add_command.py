"""`flushcast weather add`: daily weather from a file into the garden's own store."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import Any

import click
import numpy as np

from data_sources.weather.corrections_refit import refit_corrections
from data_sources.weather.files.reader import FileReport, WeatherFileQuestion, read_weather_file
from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.model.errors import WeatherError
from phenology.weather.quality import doubtful_days, shifted_days
from phenology.weather.series import SOURCES, DailyWeather, merge_weather
from reports.cli.common import may_ask, open_garden_option, put, say
from reports.garden.open_garden import OpenGarden
from reports.text.weather_text import added_text


def _columns(_ctx: click.Context, _param: click.Parameter, given: tuple[str, ...]) -> dict[str, str]:
    pairs = [text.partition("=") for text in given]
    if not all(equals and role and name for role, equals, name in pairs):
        raise click.BadParameter("write it as tmin=NAME")
    return {role.strip(): name.strip() for role, _, name in pairs}


@click.command("add")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--place", metavar="NAME", help="Where it was measured, when the garden has several places.")
@click.option(
    "--units", type=click.Choice(["C", "F", "tenths"]), help="Unit, when the file does not state it."
)
@click.option("--source", type=click.Choice(["bench", "station", "model"]),
              help="What it is: your own thermometer, a weather station, a model. "
              "Default: bench for a thermometer's log, else station.")  # fmt: skip
@click.option(
    "--date-order", type=click.Choice(["day-first", "month-first"]), help="For dates like 03/04/2026."
)
@click.option("--column", "columns", multiple=True, metavar="tmin=NAME", callback=_columns,
              help="Which column is which (date, time, tmin, tmax, temp); may be repeated.")  # fmt: skip
@click.option(
    "--clock", type=click.Choice(["local", "standard", "utc"]), help="What a thermometer's clock showed."
)
@click.option("--timezone", metavar="ZONE", help="The place's time zone, when the garden does not know it.")
@click.option(
    "--measures", metavar="TEXT", default="", help="When it is not open air: 'pot surface', 'under glass'."
)
@open_garden_option
def add_command(
    garden: OpenGarden,
    file: Path,
    place: str | None,
    units: str | None,
    source: str | None,
    date_order: str | None,
    columns: dict[str, str],
    clock: str | None,
    timezone: str | None,
    measures: str,
) -> None:
    """Take the daily weather of FILE, all of it or nothing.

    A CSV with date, tmin and tmax in any order, a thermometer's log, or a station record (GHCN-Daily).
    Nothing is guessed: what the file leaves open is asked, or said with a flag.
    """
    where = garden.place(place)
    answers = {
        "units": units,
        "date_order": date_order,
        "columns": columns,
        "clock": clock,
        "timezone": timezone or where.timezone,
    }
    weather, report = _read(file, source, answers)
    today = garden.today
    _refuse_days_to_come(file, weather, today)
    detail = " ".join(filter(None, (file.name, report.station)))
    origin = Origin("file", detail, report.attribution, measures)
    with WeatherStore.open(garden.folder, create=True) as store:
        neighbour = _neighbour(store, where.id, weather)
        doubts = _doubts(store, where.id, weather, neighbour)
        result = store.add(where.id, weather, origin, fetched_at=garden.now, suspect=doubts, prefer=True)
        corrections = refit_corrections(garden.folder, store, where.id, garden.settings.units)
    for line in added_text(report, result, where.name):
        put(line)
    for shift in shifted_days(weather, neighbour) if neighbour is not None else []:
        put(f"note: {shift}")
    for line in corrections:
        put(f"{where.name} {line}")


def _read(file: Path, source: str | None, answers: dict[str, Any]) -> tuple[DailyWeather, FileReport]:
    """Read the file, asking what it leaves open where there is somebody to ask."""
    while True:
        try:
            return read_weather_file(file, source=source, **answers)
        except WeatherFileQuestion as question:
            if not may_ask():
                raise
            answer = _ask(question)
            if question.what == "column":
                answers["columns"] = {**answers["columns"], question.role: answer}
            else:
                answers[question.what] = answer


def _ask(question: WeatherFileQuestion) -> str:
    say(str(question))
    kind = click.Choice(question.choices) if question.choices else str
    answer: str = click.prompt(question.what.replace("_", " "), type=kind, err=True)
    return answer


def _refuse_days_to_come(file: Path, weather: DailyWeather, last: date) -> None:
    later = weather.between(last + timedelta(days=1), date.max)
    if later.known.any():
        first = later.first_day + timedelta(days=int(later.known.argmax()))
        days = int(later.known.sum())
        raise WeatherError(
            f"{file.name} goes on for {days:,} {'day' if days == 1 else 'days'} after today, from {first}: "
            "check the order of day and month; forecasts are fetched, not added from a file"
        )


def _doubts(
    store: WeatherStore, place: str, weather: DailyWeather, neighbour: DailyWeather | None
) -> dict[date, str]:
    """Doubtful days of the file, judged together with what the store has of the same source."""
    doubts: dict[date, str] = {}
    for source in (name for name in SOURCES if (weather.source == name).any()):
        mine = _only(weather, source)
        before = store.read_source(place, source) if store.has(place) else None
        series = merge_weather([mine, before]) if before is not None else mine
        others = neighbour if source != "model" else None  # a model does not know the place well enough
        for day, reason in doubtful_days(series, others).items():
            if mine.first_day <= day <= mine.last_day and mine.source[mine.index(day)]:
                doubts[day] = reason
    return doubts


def _neighbour(store: WeatherStore, place: str, weather: DailyWeather) -> DailyWeather | None:
    """What other sources say of the same place, the most trusted first."""
    if not store.has(place):
        return None
    others = [name for name in ("station", "model", "bench") if not (weather.source == name).any()]
    series = [part for name in others if (part := store.read_source(place, name)) is not None]
    return merge_weather(series) if series else None


def _only(weather: DailyWeather, source: str) -> DailyWeather:
    mine = weather.source == source
    low, high = (np.where(mine, values, np.nan) for values in (weather.tmin, weather.tmax))
    return DailyWeather(weather.first_day, low, high, source)
