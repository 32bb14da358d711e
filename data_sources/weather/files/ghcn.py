"""NOAA's GHCN-Daily files: one station's .dly, and the by-station table without column names.

Shapes and flags as in the readme of GHCN-Daily (weather stations' daily values, public domain).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

from data_sources.tables.problems import Problem, TableError
from data_sources.weather.files.daily import NCEI_LINE, leave_out_crossed
from data_sources.weather.files.report import FileReport
from data_sources.weather.files.weather_table import weather_errors
from phenology.weather.series import DailyWeather

_DLY = re.compile(r"[A-Z]{2}[A-Z0-9_\-]{9}\d{4}(0[1-9]|1[0-2])[A-Z]{2}[A-Z0-9]{2}[ \d-]")
_BY_STATION = re.compile(r"[A-Z]{2}[A-Z0-9_\-]{9},\d{8},[A-Z]{2}[A-Z0-9]{2},-?\d+,")
_MISSING = -9999
_WIDTH = 269  # characters of a .dly line; some editors strip its trailing blanks

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
        read = _dly_line if _DLY.match(line) else _table_line if _BY_STATION.match(line) else None
        if read is None:
            if line.strip():
                wrong = "this is not a line of GHCN-Daily"
                problems.append(Problem(path.name, number, None, wrong, "fetch the file again"))
            continue
        station, element = (line[:11], line[17:21]) if read is _dly_line else (line[:11], line[21:25])
        stations.add(station)
        try:
            entries = list(read(line))
        except ValueError:
            wrong = "holds a value that is no number"
            problems.append(Problem(path.name, number, None, wrong, "fetch the file again"))
            continue
        for day, value, flag in entries if element in values else ():
            if flag:
                left_out[f"{element} failed the quality check '{QUALITY.get(flag, flag)}'"] += 1
            elif day in values[element]:
                problems.append(Problem(path.name, number, element, f"{day} comes twice", "keep one of them"))
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


def _dly_line(line: str) -> Iterator[tuple[date, int, str]]:
    """Days, values and quality letters of a month; blank and missing ones left out."""
    line = line.ljust(_WIDTH)
    for day, start in enumerate(range(21, _WIDTH, 8), 1):
        value = int(line[start : start + 5].strip() or _MISSING)
        if value != _MISSING:
            yield date(int(line[11:15]), int(line[15:17]), day), value, line[start + 6].strip()


def _table_line(line: str) -> Iterator[tuple[date, int, str]]:
    _, day, _, value, _, quality, *_ = [*line.strip().split(","), "", "", ""]
    if int(value) != _MISSING:
        yield date(int(day[:4]), int(day[4:6]), int(day[6:])), int(value), quality.strip()
