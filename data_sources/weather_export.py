"""A garden's weather as CSV files and back: one file a place and source, and a list of them.

Each file is a plain ``date,tmin,tmax`` table in degC, as `flushcast weather add` and `hindcast` read it: the
values in use. Days that were doubted have a file of their own. Past forecasts and replaced values stay in the
store alone.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import date, datetime
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from data_sources.tables.cells import unmark, write_csv
from data_sources.tables.problems import TableError
from data_sources.tables.text_table import read_table
from data_sources.weather.files.reader import read_weather_file
from data_sources.weather.store.steps import HOTTEST
from data_sources.weather.store.weather_store import AddReport, Origin, WeatherStore
from phenology.model.errors import InputError, WeatherError
from phenology.model.records import Place
from phenology.weather.series import SOURCES, DailyWeather

INDEX = "weather.csv"
HEADERS = ("file", "place", "source", "days", "attribution", "place_id")
DOUBTED = "doubted.csv"
DOUBTED_HEADERS = ("date", "source", "tmin", "tmax", "reason", "accepted", "place_id")
KEPT = tuple(source for source in SOURCES if source != "forecast")


class ExportedWeather(NamedTuple):
    """A series of one source that an export brings, and why days of it are, or were, doubted."""

    place: str
    series: DailyWeather
    origin: Origin
    source: str = ""
    suspect: Mapping[date, str] = MappingProxyType({})
    accepted: Mapping[date, str] = MappingProxyType({})


def export_weather(folder: Path, garden: Path, places: Sequence[Place]) -> int:
    """Write the weather of a garden's places beside its tables; returns the number of days written.

    Raises `StoreError` if the weather store cannot be read.
    """
    listed: list[list[str]] = []
    try:
        store = WeatherStore.open(garden)
    except WeatherError:
        write_csv(folder / INDEX, HEADERS, listed)
        return 0
    used: set[str] = set()
    doubted: list[list[str]] = []
    with store:
        for place in places:
            if not store.has(place.id):
                continue
            doubted += [
                [day.day.isoformat(), day.source, *map(_degrees, (day.tmin, day.tmax)), day.reason,
                 "yes" if day.accepted else "no", place.id]
                for day in store.suspicious_days(place.id)
            ]  # fmt: skip
            lines = "; ".join(store.attribution_lines(place.id))
            for source in KEPT:
                series = store.read_source(place.id, source)
                if series is None:
                    continue
                name = _file_name(place.name, source, used)
                days = _write(folder / name, series)
                listed.append([name, place.name, source, str(days), lines, place.id])
    write_csv(folder / INDEX, HEADERS, listed)
    write_csv(folder / DOUBTED, DOUBTED_HEADERS, doubted)
    return sum(int(row[3]) for row in listed)


def read_weather_export(export: Path) -> list[ExportedWeather]:
    """The weather of an export, days that were doubted last; empty for an export without weather.

    Raises `InputError` if a file is missing or a cell of it cannot be read.
    """
    if not (export / INDEX).is_file():
        return []
    index = read_table(export / INDEX)
    if set(HEADERS) - set(index.keys):
        raise InputError(f"{export / INDEX} has not the columns of an export")
    found = []
    for line, cells in index.rows:
        row = {key: unmark(cell) for key, cell in zip(index.keys, cells, strict=True)}
        path = export / row["file"]
        there = False
        with suppress(OSError, ValueError):  # a name that no file can have
            there = path.name == row["file"] and path.is_file()
        if not there or row["source"] not in KEPT:
            wrong = f"there is no weather file '{row['file']}' beside it"
            raise TableError([index.problem(line, None, wrong, "export again")])
        series, _ = read_weather_file(path, units="C", source=row["source"])
        origin = Origin("file", row["file"], row["attribution"])
        found.append(ExportedWeather(row["place_id"], series, origin, row["source"]))
    return [*found, *_read_doubted(export / DOUBTED)]


def _read_doubted(path: Path) -> Iterator[ExportedWeather]:
    """The days that were doubted, by place and source: those accepted since, and those still in doubt."""
    if not path.is_file():  # of an older flushcast
        return
    table = read_table(path)
    if set(DOUBTED_HEADERS) - set(table.keys):
        raise InputError(f"{path} has not the columns of an export")
    problems = list(table.problems)
    days: dict[tuple[str, str], list[tuple[date, float, float, str, bool]]] = {}
    for line, cells in table.rows:
        row = {key: unmark(cell) for key, cell in zip(table.keys, cells, strict=True)}
        try:
            if row["source"] not in KEPT or row["accepted"] not in ("yes", "no") or not row["reason"]:
                raise ValueError
            low, high = (float(row[name] or "nan") for name in ("tmin", "tmax"))
            if low > high or not all(math.isnan(v) or abs(v) <= HOTTEST for v in (low, high)):
                raise ValueError
            day = date.fromisoformat(row["date"])
            known = days.setdefault((row["place_id"], row["source"]), [])
            known.append((day, low, high, row["reason"], row["accepted"] == "yes"))
        except ValueError:
            problems.append(table.problem(line, None, "this is no doubted day of an export", "export again"))
    if problems:
        raise TableError(problems)
    for (place, source), found in days.items():
        first = min(day for day, *_ in found)
        span = (max(day for day, *_ in found) - first).days + 1
        low_of, high_of = [math.nan] * span, [math.nan] * span
        for day, low, high, _, accepted in found:
            if not accepted:  # else it is among the values in use
                low_of[(day - first).days], high_of[(day - first).days] = low, high
        yield ExportedWeather(
            place,
            DailyWeather(first, low_of, high_of, source),
            Origin("file", path.name),
            source,
            {day: reason for day, _, _, reason, accepted in found if not accepted},
            {day: reason for day, _, _, reason, accepted in found if accepted},
        )


def add_weather(garden: Path, found: Sequence[ExportedWeather], at: datetime) -> list[AddReport]:
    """Put the weather of an export into a garden's store, all or nothing; returns what became of each series.

    What the store has already stays where it differs; own readings are compared anew.
    """
    if not found:
        return []
    from data_sources.weather.place_correction import refit_corrections

    done: list[tuple[str, AddReport]] = []
    with WeatherStore.open(garden, create=True) as store:
        try:
            for place, series, origin, source, suspect, accepted in found:
                report = AddReport()
                if series.known.any() or np.isfinite(series.tmin).any() or np.isfinite(series.tmax).any():
                    report = store.add(place, series, origin, fetched_at=at, suspect=suspect)
                done.append((place, report))
                if accepted and store.has(place):
                    store.mark(place, source, accepted)
                    store.accept(place, accepted, source)
        except BaseException:
            _take_back(store, done)
            raise
        for place in dict.fromkeys(place for place, _ in done):
            refit_corrections(garden, store, place)
    return [report for _, report in done]


def take_weather_back(garden: Path, found: Sequence[ExportedWeather], reports: Sequence[AddReport]) -> None:
    """Undo what `add_weather` has just added."""
    places = [one.place for one in found]
    with WeatherStore.open(garden) as store:
        _take_back(store, list(zip(places, reports, strict=True)))


def _take_back(store: WeatherStore, done: Sequence[tuple[str, AddReport]]) -> None:
    for place, report in reversed(done):
        if report.changed:
            store.take_back(place)


def _file_name(place: str, source: str, used: set[str]) -> str:
    """A name that any system takes, told apart from those in use."""
    plain = re.sub(r"[^A-Za-z0-9]+", "-", place).strip("-").lower() or "place"
    name, n = f"weather-{plain}-{source}.csv", 1
    while name in used:
        n += 1
        name = f"weather-{plain}-{n}-{source}.csv"
    used.add(name)
    return name


def _degrees(value: float) -> str:
    return "" if math.isnan(value) else repr(value)


def _write(path: Path, series: DailyWeather) -> int:
    first = series.first_day.toordinal()
    extremes = zip(series.tmin.tolist(), series.tmax.tolist(), strict=True)
    rows = (
        (date.fromordinal(first + n).isoformat(), *map(_degrees, pair))
        for n, pair in enumerate(extremes)
        if not all(map(math.isnan, pair))
    )
    return write_csv(path, ("date", "tmin", "tmax"), rows, marked=False)  # these cells are numbers
