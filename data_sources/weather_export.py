"""A garden's weather as CSV files and back: one file a place and source, and a list of them.

Each file is a plain ``date,tmin,tmax`` table in degC, as `flushcast weather add` and `hindcast` read it. Kept
are the values in use; past forecasts, replaced values and doubtful days stay in the store alone.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path

from data_sources.tables.cells import unmark, write_csv
from data_sources.tables.problems import TableError
from data_sources.tables.text_table import read_table
from data_sources.weather.files.reader import read_weather_file
from data_sources.weather.store.weather_store import AddReport, Origin, WeatherStore
from phenology.model.errors import InputError, WeatherError
from phenology.model.records import Place
from phenology.weather.series import SOURCES, DailyWeather

INDEX = "weather.csv"
HEADERS = ("file", "place", "source", "days", "attribution", "place_id")
KEPT = tuple(source for source in SOURCES if source != "forecast")


def export_weather(folder: Path, garden: Path, places: Sequence[Place]) -> int:
    """Write the weather of a garden's places beside its tables; returns the number of days written.

    Raises
    ------
    StoreError
        If the weather store cannot be read.
    """
    listed: list[list[str]] = []
    try:
        store = WeatherStore.open(garden)
    except WeatherError:
        write_csv(folder / INDEX, HEADERS, listed)
        return 0
    used: set[str] = set()
    with store:
        for place in places:
            if not store.has(place.id):
                continue
            lines = "; ".join(store.attribution_lines(place.id))
            for source in KEPT:
                series = store.read_source(place.id, source)
                if series is None:
                    continue
                name = _file_name(place.name, source, used)
                days = _write(folder / name, series)
                listed.append([name, place.name, source, str(days), lines, place.id])
    write_csv(folder / INDEX, HEADERS, listed)
    return sum(int(row[3]) for row in listed)


def read_weather_export(export: Path) -> list[tuple[str, DailyWeather, Origin]]:
    """The weather of an export: place id, series, origin; empty for an export without weather.

    Raises
    ------
    InputError
        If a file is missing or a cell of it cannot be read.
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
        if path.name != row["file"] or not path.is_file() or row["source"] not in KEPT:
            wrong = f"there is no weather file '{row['file']}' beside it"
            raise TableError([index.problem(line, None, wrong, "export again")])
        series, _ = read_weather_file(path, units="C", source=row["source"])
        found.append((row["place_id"], series, Origin("file", row["file"], row["attribution"])))
    return found


def add_weather(
    garden: Path, found: Sequence[tuple[str, DailyWeather, Origin]], at: datetime
) -> list[AddReport]:
    """Put the weather of an export into a garden's store, all of it or nothing, own readings compared anew.

    What the store has already stays where it differs.

    Returns
    -------
    list of AddReport
        What became of each series.
    """
    if not found:
        return []
    from data_sources.weather.corrections_refit import refit_corrections

    done: list[tuple[str, AddReport]] = []
    with WeatherStore.open(garden, create=True) as store:
        try:
            for place, series, origin in found:
                done.append((place, store.add(place, series, origin, fetched_at=at)))
        except BaseException:
            _take_back(store, done)
            raise
        for place in dict.fromkeys(place for place, _ in done):
            refit_corrections(garden, store, place)
    return [report for _, report in done]


def take_weather_back(
    garden: Path, found: Sequence[tuple[str, DailyWeather, Origin]], reports: Sequence[AddReport]
) -> None:
    """Undo what `add_weather` has just added."""
    places = [place for place, _, _ in found]
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


def _write(path: Path, series: DailyWeather) -> int:
    first = series.first_day.toordinal()
    extremes = zip(series.tmin.tolist(), series.tmax.tolist(), strict=True)
    rows = (
        (date.fromordinal(first + n).isoformat(), *("" if math.isnan(v) else repr(v) for v in pair))
        for n, pair in enumerate(extremes)
        if not all(map(math.isnan, pair))
    )
    return write_csv(path, ("date", "tmin", "tmax"), rows, marked=False)  # these cells are numbers
