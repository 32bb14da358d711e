"""Files of days: tables with one row a day, in any order and spelling, and NOAA's GHCN-Daily files.

Those are one station's .dly, and the by-station table without column names; shapes and flags as in the readme
of GHCN-Daily (weather stations' daily values, public domain).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

from data_sources.tables.problems import Problem, TableError
from data_sources.weather.files.weather_table import (
    FileReport,
    Values,
    WeatherTable,
    to_celsius,
    weather_errors,
)
from data_sources.weather.store.records import EARLIEST, LATEST
from phenology.language.written_days import DateOrder
from phenology.weather.series import DailyWeather

NCEI_LINE = "NOAA National Centers for Environmental Information, GHCN-Daily"
FORECAST_IDS = frozenset(("dwd_mosmix", "metno_forecast"))  # providers of a mixed record that forecast
NO_AIR = {"C": 60.0, "F": 140.0}  # beyond it the usual maximum is none of air


def read_daily(
    table: WeatherTable,
    *,
    units: str | None,
    date_order: DateOrder | None,
    source: str,
    today: date | None = None,
) -> tuple[DailyWeather, FileReport]:
    """Read a daily table, all of it or nothing.

    Raises `TableError` with every bad cell, day given twice and day with tmin above tmax. Raises
    `FileQuestion` if the unit or the order of day and month is open.
    """
    headers = table.table.headers
    times, order = table.times(date_order, with_time=False)
    low, high = table.temperatures("tmin"), table.temperatures("tmax")
    if not table.problems:
        units = table.units(units, "tmin", "tmax")
    ncei = {"STATION", "DATE", "TMIN"} <= set(headers)
    if ncei:
        _leave_out_flagged(table, "tmin", low)
        _leave_out_flagged(table, "tmax", high)
        leave_out_crossed(low, high, table.left_out)
    names = table.names("tmin", "tmax")
    first: dict[int, int] = {}
    days = np.array([time.toordinal() if time else -n for n, time in enumerate(times)])
    for n, (line, cells) in enumerate(table.rows):
        if low[n] > high[n]:
            below, above = (f"{name} {cells[table.at[role]]}" for role, name in names.items())
            wrong, advice = f"{below} is above {above}", "correct one of them, or leave both blank"
            table.problems.append(table.table.problem(line, table.at["tmin"], wrong, advice))
        if first.setdefault(days[n], line) != line:
            wrong = f"{times[n]:%Y-%m-%d} comes twice (first on line {first[days[n]]})"
            table.problems.append(table.table.problem(line, table.date_column, wrong, "keep one row a day"))
    table.refuse(low, high)
    assert units is not None
    usual = float(np.nanmedian(high)) if np.isfinite(high).sum() >= 3 else 0.0
    if abs(usual) > NO_AIR.get(units, np.inf):
        fahrenheit = "°F, say --units F; if " if units == "C" and abs(usual) <= NO_AIR["F"] else ""
        hint = f"; if these are {fahrenheit}tenths of a °C, say --units tenths"
        raise table.error(f"its usual maximum is {usual:.0f} °{units}, which is no air", hint)
    station, oldest_first = _station(table), np.argsort(days)
    kinds = _row_sources(table, source)
    notes = []
    if today is not None and ((unfinished := (days == today.toordinal()) & (kinds != "model")).any()):
        low[unfinished] = high[unfinished] = np.nan
        notes.append("today's row is left out, for the day is not over; add the file again tomorrow")
    kinds = kinds[oldest_first]
    low, high = (to_celsius(values, units)[oldest_first] for values in (low, high))
    weather = DailyWeather.from_ordinals(days[oldest_first], low, high, kinds)
    modelled = int((kinds == "model").sum())
    note = f"{modelled:,} days hold forecast values and count as model, not as measured"
    return weather, table.report(
        "NCEI daily summaries" if ncei else "daily table",
        units,
        weather,
        *("date", "tmin", "tmax"),
        date_order=order,
        notes=[*notes, note] if modelled else notes,
        station=station,
        attribution=f"{NCEI_LINE}, station {station}" if ncei else "",
    )


def leave_out_crossed(low: Values, high: Values, left_out: Counter[str]) -> None:
    """Blank the days of a station whose maximum is below the minimum.

    A station read in the morning puts yesterday's maximum on today's date; nobody can correct it now.
    """
    crossed = low > high
    low[crossed] = high[crossed] = np.nan
    left_out.update({"TMIN above TMAX on one day": int(crossed.sum())} if crossed.any() else {})


def _leave_out_flagged(table: WeatherTable, role: str, values: Values) -> None:
    """Blank what failed the station's quality checks, whose letters stand in a column beside."""
    name, headers = table.names(role)[role], table.table.headers
    if f"{name}_ATTRIBUTES" in headers:
        beside = headers.index(f"{name}_ATTRIBUTES")
        for n, (_, cells) in enumerate(table.rows):
            flag = [*cells[beside].split(","), ""][1].strip()
            if flag and np.isfinite(values[n]):
                table.left_out[f"{name} failed the station's quality check ({flag})"] += 1
                values[n] = np.nan


def _row_sources(table: WeatherTable, source: str) -> np.ndarray:
    at = [i for i, name in enumerate(table.table.headers) if name in ("tmin_source", "tmax_source")]
    sources = [{word for i in at for word in cells[i].split()} for _, cells in table.rows]
    return np.array(["model" if FORECAST_IDS & words else source for words in sources])


def _station(table: WeatherTable) -> str:
    at = [n for n, h in enumerate(table.table.headers) if h.casefold() in ("station", "station_id")]
    ids = sorted({cells[at[0]] for _, cells in table.rows} - {""}) if at else []
    if len(ids) > 1:
        raise table.error(f"holds {len(ids)} stations ({', '.join(ids[:4])}); keep one station in a file")
    return ids[0] if ids else ""


_ID, _ELEMENT = r"(?P<station>[A-Z]{2}[A-Z0-9_\-]{9})", "(?P<element>[A-Z]{2}[A-Z0-9]{2})"
_DLY = re.compile(rf"{_ID}(?P<month>\d{{4}}(?:0[1-9]|1[0-2])){_ELEMENT}(?=[ \d-])(?P<days>.*)")
_BY_STATION = re.compile(rf"{_ID},(?P<day>\d{{8}}),{_ELEMENT},(?P<value>-?\d+),[^,]*,?(?P<quality>[^,]*)")
_MISSING = -9999
_WIDTH = 8 * 31  # characters of a .dly line's days; some editors strip its trailing blanks

QUALITY = {
    "D": "duplicate", "G": "gap", "I": "inconsistent", "K": "streak", "L": "longer than a day",
    "M": "impossible", "N": "naught", "O": "outlier", "R": "lagged range", "S": "disagrees with neighbours",
    "T": "disagrees with the days around", "W": "too warm for snow", "X": "out of bounds",
    "Z": "flagged by the data centre",
}  # fmt: skip


def is_ghcn(text: str) -> bool:
    """Whether the first line is one of these files'."""
    first = text.lstrip().split("\n", 1)[0]
    return bool(_DLY.match(first) or _BY_STATION.match(first))


@weather_errors()
def read_ghcn(path: Path, text: str, *, source: str) -> tuple[DailyWeather, FileReport]:
    """Read TMIN and TMAX; a value with any quality letter is left out and counted.

    Raises `WeatherFileError` with every line that cannot be read, or when there are several stations or no
    temperatures.
    """
    values: dict[str, dict[date, float]] = {"TMIN": {}, "TMAX": {}}
    left_out: Counter[str] = Counter()
    stations: set[str] = set()
    problems: list[Problem] = []

    def bad(line: int, column: str | None, wrong: str, advice: str) -> None:
        problems.append(Problem(path.name, line, column, wrong, advice))

    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        found = _DLY.match(line) or _BY_STATION.match(line)
        if found is None:
            bad(number, None, "this is not a line of GHCN-Daily", "fetch the file again")
            continue
        element = found["element"]
        stations.add(found["station"])
        try:
            entries = list(_entries(found.groupdict()))
        except ValueError:
            bad(number, None, "holds a value that is no number", "fetch the file again")
            continue
        if any(not EARLIEST <= day <= LATEST for day, _, _ in entries):
            bad(number, element, f"{entries[0][0]} is out of all time", "fetch the file again")
            continue
        for day, value, flag in entries if element in values else ():
            if flag:
                left_out[f"{element} failed the quality check '{QUALITY.get(flag, flag)}'"] += 1
            elif day in values[element]:
                bad(number, element, f"{day} comes twice", "keep one of them")
            else:
                values[element][day] = value / 10
    if len(stations) > 1:
        raise TableError(f"{path.name}: holds {len(stations)} stations; keep one station in a file")
    if problems:
        raise TableError(problems)
    days = sorted(set(values["TMIN"]) | set(values["TMAX"]))
    if not days:
        raise TableError(f"{path.name}: there is no TMIN or TMAX in it")
    low, high = (np.array([values[name].get(day, np.nan) for day in days]) for name in ("TMIN", "TMAX"))
    leave_out_crossed(low, high, left_out)
    weather = DailyWeather.from_days(days, low, high, source)
    station = stations.pop()
    return weather, FileReport(
        path.name,
        "GHCN-Daily",
        "tenths",
        weather.coverage(),
        left_out=left_out,
        station=station,
        attribution=f"{NCEI_LINE}, station {station}",
    )


def _entries(line: dict[str, str]) -> Iterator[tuple[date, int, str]]:
    """Days, values and quality letters of a line; blank and missing ones left out."""
    if "days" in line:
        cells = line["days"].ljust(_WIDTH)
        parts = [(cells[n : n + 5].strip(), cells[n + 6]) for n in range(0, _WIDTH, 8)]
        first, days = line["month"], enumerate(parts, 1)
    else:
        first, days = line["day"], enumerate([(line["value"], line["quality"])], int(line["day"][6:]))
    for day, (value, quality) in days:
        if len(value) > 6:
            raise ValueError(value[:9])
        if int(value or _MISSING) != _MISSING:
            yield date(int(first[:4]), int(first[4:6]), day), int(value), quality.strip()
