"""NOAA's GHCN-Daily files: one station's .dly, and the by-station table without column names.

Shapes and flags as in the readme of GHCN-Daily (weather stations' daily values, public domain).
"""

from __future__ import annotations

import re
from collections import Counter
from datetime import date
from pathlib import Path

import numpy as np

from data_sources.weather.files.daily import NCEI_LINE
from data_sources.weather.files.problems import Problem, WeatherFileError
from data_sources.weather.files.report import FileReport
from phenology.weather.series import DailyWeather

_DLY = re.compile(r"[A-Z]{2}[A-Z0-9_\-]{9}\d{4}(0[1-9]|1[0-2])[A-Z]{2}[A-Z0-9]{2}[ \d-]")
_BY_STATION = re.compile(r"[A-Z]{2}[A-Z0-9_\-]{9},\d{8},[A-Z]{2}[A-Z0-9]{2},-?\d+,")
_MISSING = -9999
_WIDTH = 269  # characters of a .dly line; some editors strip its trailing blanks

QUALITY = {
    "D": "duplicate",
    "G": "gap",
    "I": "inconsistent",
    "K": "streak",
    "L": "longer than a day",
    "M": "impossible",
    "N": "naught",
    "O": "outlier",
    "R": "lagged range",
    "S": "disagrees with neighbours",
    "T": "disagrees with the days around",
    "W": "too warm for snow",
    "X": "out of bounds",
    "Z": "flagged by the data centre",
}


def is_ghcn(text: str) -> bool:
    """Whether the first line is one of these files'."""
    first = text.lstrip().split("\n", 1)[0]
    return bool(_DLY.match(first) or _BY_STATION.match(first))


def read_ghcn(path: Path, text: str, *, source: str) -> tuple[DailyWeather, FileReport]:
    """Read TMIN and TMAX; a value with any quality letter is left out and counted.

    Raises
    ------
    WeatherFileError
        With every line that cannot be read, or when there are several stations or no temperatures.
    """
    values: dict[str, dict[date, float]] = {"TMIN": {}, "TMAX": {}}
    left_out: Counter[str] = Counter()
    stations: set[str] = set()
    problems: list[Problem] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        read = _dly_line if _DLY.match(line) else _table_line if _BY_STATION.match(line) else None
        if read is None:
            problems.append(Problem(number, "", "this is not a line of GHCN-Daily", "fetch the file again"))
            continue
        try:
            station, element, entries = read(line)
        except ValueError:
            problems.append(Problem(number, "", "holds a value that is no number", "fetch the file again"))
            continue
        stations.add(station)
        if element not in values:
            continue
        for day, value, flag in entries:
            if flag:
                left_out[f"{element} failed the quality check '{QUALITY.get(flag, flag)}'"] += 1
            elif day in values[element]:
                problems.append(Problem(number, element, f"{day} comes twice", "keep one of them"))
            else:
                values[element][day] = value / 10
    if len(stations) > 1:
        raise WeatherFileError(path, f"holds {len(stations)} stations; keep one station in a file")
    days = sorted(set(values["TMIN"]) | set(values["TMAX"]))
    if not days and not problems:
        raise WeatherFileError(path, "there is no TMIN or TMAX in it")
    for day in days:
        low, high = values["TMIN"].get(day, np.nan), values["TMAX"].get(day, np.nan)
        if low > high:
            # A station read in the morning puts yesterday's maximum on today's date: this happens unflagged.
            left_out["TMIN above TMAX on one day"] += 1
            del values["TMIN"][day], values["TMAX"][day]
    if problems:
        raise WeatherFileError(path, problems)
    weather = DailyWeather.from_days(
        days,
        [values["TMIN"].get(day, np.nan) for day in days],
        [values["TMAX"].get(day, np.nan) for day in days],
        source,
    )
    station = stations.pop()
    attribution = f"{NCEI_LINE}, station {station}"
    report = FileReport(
        path, "GHCN-Daily", "tenths", weather.coverage(), {}, None, left_out, (), station, attribution
    )
    return weather, report


def _dly_line(line: str) -> tuple[str, str, list[tuple[date, int, str]]]:
    line = line.ljust(_WIDTH)
    year, month = int(line[11:15]), int(line[15:17])
    days = []
    for start in range(21, _WIDTH, 8):
        text = line[start : start + 5].strip()
        value = int(text) if text else _MISSING
        if value != _MISSING:
            days.append((date(year, month, (start - 21) // 8 + 1), value, line[start + 6].strip()))
    return line[:11], line[17:21], days


def _table_line(line: str) -> tuple[str, str, list[tuple[date, int, str]]]:
    station, day, element, value, _, quality, *_ = [*line.strip().split(","), "", "", ""]
    if int(value) == _MISSING:
        return station, element, []
    when = date(int(day[:4]), int(day[4:6]), int(day[6:]))
    return station, element, [(when, int(value), quality.strip())]
