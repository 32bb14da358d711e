"""A table with one row a day: date, minimum, maximum, in any order and spelling."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date

import numpy as np

from data_sources.weather.files.columns import Columns, find_columns
from data_sources.weather.files.problems import Problem, WeatherFileError
from data_sources.weather.files.report import FileReport
from data_sources.weather.files.rows import Rows, middle_notes, read_times, to_celsius, units_of, whole_rows
from data_sources.weather.files.text import Table
from data_sources.weather.files.values import SENTINELS, DateOrder, read_number
from phenology.weather.series import DailyWeather

NCEI_LINE = "NOAA National Centers for Environmental Information, GHCN-Daily"
FORECAST_IDS = frozenset(("dwd_mosmix", "metno_forecast"))  # providers of a mixed record that forecast


def read_daily(
    table: Table,
    *,
    units: str | None,
    date_order: DateOrder | None,
    columns: Mapping[str, str] | None,
    source: str,
) -> tuple[DailyWeather, FileReport]:
    """Read a daily table, all of it or nothing.

    Raises
    ------
    WeatherFileError
        With every bad cell, day given twice and day with tmin above tmax.
    WeatherFileQuestion
        If the unit or the order of day and month is open.
    """
    found = find_columns(table.path, table.header, columns)
    problems: list[Problem] = []
    rows = whole_rows(table, found, problems)
    stamps = read_times(table, found, rows, date_order, with_time=False)
    problems += stamps.problems
    left_out: Counter[str] = Counter()
    cells: dict[str, list[float | None]] = {}
    in_cells: set[str] = set()
    for role in ("tmin", "tmax"):
        cells[role], units_seen = _numbers(table, found, role, rows, problems, left_out)
        in_cells |= units_seen
    names = [found.names["tmin"], found.names["tmax"]]
    units = units_of(table, names, units, in_cells) if not problems else units or "C"
    ncei = {"STATION", "DATE", found.names["tmin"].upper()} <= set(table.header)
    crossed = _crossed(rows, cells, found)
    if ncei and crossed:
        _leave_out_crossed(cells, left_out)
    else:
        problems += crossed
    days = [stamp.date() if stamp else None for stamp in stamps.times]
    problems += _twice([line for line, _ in rows], days, found.names.get("date", "date"))
    if problems:
        raise WeatherFileError(table.path, sorted(problems, key=lambda p: p.line))
    if not any(v is not None for column in cells.values() for v in column):
        raise WeatherFileError(table.path, f"there is no temperature in any of its {len(rows):,} rows")
    _refuse_tenfold(table, cells, units)
    kinds = _row_sources(table, rows, source)
    order = sorted(range(len(rows)), key=lambda i: days[i] or date.min)
    low, high = (
        [np.nan if (v := cells[role][i]) is None else to_celsius(v, units) for i in order]
        for role in ("tmin", "tmax")
    )
    weather = DailyWeather.from_days(
        [day for i in order if (day := days[i])], low, high, np.array([kinds[i] for i in order])
    )
    station = _station(table)
    notes = []
    if "model" in kinds:
        notes.append(
            f"{kinds.count('model'):,} days hold forecast values and count as model, not as measured"
        )
    report = FileReport(
        table.path,
        "NCEI daily summaries" if ncei else "daily table",
        units,
        weather.coverage(),
        {role: found.names[role] for role in ("date", "tmin", "tmax") if role in found.names},
        stamps.order,
        left_out,
        tuple(notes + middle_notes(weather)),
        station,
        f"{NCEI_LINE}, station {station}" if ncei else "",
    )
    return weather, report


def _numbers(
    table: Table, found: Columns, role: str, rows: Rows, problems: list[Problem], left_out: Counter[str]
) -> tuple[list[float | None], set[str]]:
    at, name = found.at[role], found.names[role]
    attributes = table.header.index(f"{name}_ATTRIBUTES") if f"{name}_ATTRIBUTES" in table.header else None
    values: list[float | None] = []
    units = set()
    for line, cells in rows:
        value = None
        try:
            value, unit = read_number(cells[at])
            if unit:
                units.add(unit)
        except ValueError:
            problems.append(
                Problem(
                    line, name, f"'{cells[at]}' is not a number", "write one such as 14.2, or leave it blank"
                )
            )
        if value is not None and value in SENTINELS:
            left_out[f"{name} {cells[at]}, a mark for missing"] += 1
            value = None
        if value is not None and attributes is not None:
            flags = [flag.strip() for flag in cells[attributes].split(",")]
            if len(flags) > 1 and flags[1]:
                left_out[f"{name} failed the station's quality check ({flags[1]})"] += 1
                value = None
        values.append(value)
    return values, units


def _crossed(rows: Rows, cells: dict[str, list[float | None]], found: Columns) -> list[Problem]:
    low_name, high_name = found.names["tmin"], found.names["tmax"]
    return [
        Problem(
            line,
            low_name,
            f"{low_name} {low:g} is above {high_name} {high:g}",
            "correct one of them, or leave both blank",
        )
        for (line, _), low, high in zip(rows, cells["tmin"], cells["tmax"], strict=True)
        if low is not None and high is not None and low > high
    ]


def _leave_out_crossed(cells: dict[str, list[float | None]], left_out: Counter[str]) -> None:
    """A station read in the morning may have its maximum below its minimum; nobody can correct it now."""
    for i, (low, high) in enumerate(zip(cells["tmin"], cells["tmax"], strict=True)):
        if low is not None and high is not None and low > high:
            cells["tmin"][i] = cells["tmax"][i] = None
            left_out["TMIN above TMAX on one day"] += 1


def _twice(lines: list[int], days: list[date | None], column: str) -> list[Problem]:
    first: dict[date, int] = {}
    problems = []
    for line, day in zip(lines, days, strict=True):
        if day is None:
            continue
        if day in first:
            problems.append(
                Problem(line, column, f"{day} comes twice (first on line {first[day]})", "keep one row a day")
            )
        else:
            first[day] = line
    return problems


def _refuse_tenfold(table: Table, cells: dict[str, list[float | None]], units: str) -> None:
    """Stations' files without a unit in the address are in tenths of a degree: never air in any unit."""
    highs = [v for v in cells["tmax"] if v is not None]
    if units == "tenths" or len(highs) < 3:
        return
    usual = float(np.median(highs))
    if abs(usual) > {"C": 60, "F": 140}[units]:
        advice = "if these are tenths of a °C, say --units tenths"
        raise WeatherFileError(
            table.path, f"its usual maximum is {usual:.0f} °{units}, which is no air; {advice}"
        )


def _row_sources(table: Table, rows: Rows, source: str) -> list[str]:
    at = [i for i, name in enumerate(table.header) if name in ("tmin_source", "tmax_source")]
    return ["model" if any(FORECAST_IDS & set(cells[i].split()) for i in at) else source for _, cells in rows]


def _station(table: Table) -> str:
    at = next(
        (i for i, name in enumerate(table.header) if name.casefold() in ("station", "station_id")), None
    )
    if at is None:
        return ""
    ids = sorted({cells[at] for _, cells in table.rows if at < len(cells) and cells[at]})
    if len(ids) > 1:
        raise WeatherFileError(
            table.path, f"holds {len(ids)} stations ({', '.join(ids[:4])}); keep one station in a file"
        )
    return ids[0] if ids else ""
