"""A table with one row a day: date, minimum, maximum, in any order and spelling."""

from __future__ import annotations

from collections import Counter

import numpy as np

from data_sources.tables.problems import Problem, TableError
from data_sources.tables.text_table import TextTable
from data_sources.weather.files.columns import Columns
from data_sources.weather.files.readings import (
    Rows,
    Values,
    middle_notes,
    read_temperatures,
    refuse,
    to_celsius,
    units_of,
)
from data_sources.weather.files.report import FileReport
from data_sources.weather.files.time_stamps import read_stamps
from phenology.language.written_days import DateOrder
from phenology.weather.series import DailyWeather

NCEI_LINE = "NOAA National Centers for Environmental Information, GHCN-Daily"
FORECAST_IDS = frozenset(("dwd_mosmix", "metno_forecast"))  # providers of a mixed record that forecast
NO_AIR = {"C": 60.0, "F": 140.0}  # beyond it the usual maximum is none of air


def read_daily(
    table: TextTable,
    found: Columns,
    rows: Rows,
    problems: list[Problem],
    *,
    units: str | None,
    date_order: DateOrder | None,
    source: str,
) -> tuple[DailyWeather, FileReport]:
    """Read a daily table, all of it or nothing.

    Raises
    ------
    TableError
        With every bad cell, day given twice and day with tmin above tmax.
    FileQuestion
        If the unit or the order of day and month is open.
    """
    times, order = read_stamps(table, found, rows, date_order, problems, with_time=False)
    left_out: Counter[str] = Counter()
    at = [found.at["tmin"], found.at["tmax"]]
    (low, in_low), (high, in_high) = (read_temperatures(table, rows, n, problems, left_out) for n in at)
    units = units_of(table, at, units, in_low | in_high) if not problems else units or "C"
    ncei = {"STATION", "DATE", table.headers[at[0]].upper()} <= set(table.headers)
    if ncei:
        for n, values in zip(at, (low, high), strict=True):
            _leave_out_flagged(table, rows, n, values, left_out)
        leave_out_crossed(low, high, left_out)
    names = [table.headers[n] for n in at]
    for n in np.flatnonzero(low > high).tolist():
        line, cells = rows[n]
        wrong = f"{names[0]} {cells[at[0]]} is above {names[1]} {cells[at[1]]}"
        problems.append(table.problem(line, at[0], wrong, "correct one of them, or leave both blank"))
    first: dict[int, int] = {}
    days = [time.toordinal() if time else -n for n, time in enumerate(times)]
    for (line, _), day, time in zip(rows, days, times, strict=True):
        if first.setdefault(day, line) != line:
            wrong = f"{time:%Y-%m-%d} comes twice (first on line {first[day]})"
            problems.append(
                table.problem(line, found.at.get("date", found.at.get("year")), wrong, "keep one row a day")
            )
    refuse(table, problems, low, high)
    usual = float(np.nanmedian(high)) if np.isfinite(high).sum() >= 3 else 0.0
    if abs(usual) > NO_AIR.get(units, np.inf):
        advice = "if these are tenths of a °C, say --units tenths"
        raise TableError(
            f"{table.file}: its usual maximum is {usual:.0f} °{units}, which is no air; {advice}"
        )
    oldest_first = np.argsort(days)
    kinds = np.array(_row_sources(table, rows, source))[oldest_first]
    low, high = (to_celsius(values, units)[oldest_first] for values in (low, high))
    weather = DailyWeather.from_ordinals(np.array(days)[oldest_first], low, high, kinds)
    station, modelled = _station(table), int((kinds == "model").sum()) if source != "model" else 0
    notes = (
        [f"{modelled:,} days hold forecast values and count as model, not as measured"] if modelled else []
    )
    report = FileReport(
        table.file,
        "NCEI daily summaries" if ncei else "daily table",
        units,
        weather.coverage(),
        {role: table.headers[found.at[role]] for role in ("date", "tmin", "tmax") if role in found.at},
        order,
        left_out,
        tuple(notes + middle_notes(weather)),
        station,
        f"{NCEI_LINE}, station {station}" if ncei else "",
    )
    return weather, report


def leave_out_crossed(low: Values, high: Values, left_out: Counter[str]) -> None:
    """Blank the days of a station whose maximum is below the minimum.

    A station read in the morning puts yesterday's maximum on today's date; nobody can correct it now.
    """
    crossed = low > high
    low[crossed] = high[crossed] = np.nan
    left_out.update({"TMIN above TMAX on one day": int(crossed.sum())} if crossed.any() else {})


def _leave_out_flagged(table: TextTable, rows: Rows, at: int, values: Values, left_out: Counter[str]) -> None:
    """Blank what failed the station's quality checks, whose letters stand in a column beside."""
    name = table.headers[at]
    if f"{name}_ATTRIBUTES" not in table.headers:
        return
    beside = table.headers.index(f"{name}_ATTRIBUTES")
    for n, (_, cells) in enumerate(rows):
        flag = [*cells[beside].split(","), ""][1].strip()
        if flag and np.isfinite(values[n]):
            left_out[f"{name} failed the station's quality check ({flag})"] += 1
            values[n] = np.nan


def _row_sources(table: TextTable, rows: Rows, source: str) -> list[str]:
    at = [i for i, name in enumerate(table.headers) if name in ("tmin_source", "tmax_source")]
    return ["model" if any(FORECAST_IDS & set(cells[i].split()) for i in at) else source for _, cells in rows]


def _station(table: TextTable) -> str:
    at = [i for i, name in enumerate(table.headers) if name.casefold() in ("station", "station_id")]
    ids = sorted({cells[at[0]].strip() for _, cells in table.rows} - {""}) if at else []
    if len(ids) > 1:
        raise TableError(
            f"{table.file}: holds {len(ids)} stations ({', '.join(ids[:4])}); keep one station in a file"
        )
    return ids[0] if ids else ""
