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
from data_sources.weather.files.weather_table import FileReport, weather_errors
from data_sources.weather.store.records import EARLIEST, LATEST
from phenology.weather.series import DailyWeather

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
