"""Weather in words and as a table: after adding a file, the state of the store, its days one by one."""

from __future__ import annotations

import calendar
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import isnan
from typing import Any, NamedTuple

import numpy as np

from data_sources.weather.files.weather_table import FileReport
from data_sources.weather.store.records import DayValue
from data_sources.weather.store.weather_store import AddReport, OriginUse, SuspiciousDay
from phenology.model.units import c_to_f
from phenology.weather.series import SOURCES, DailyWeather
from reports.table import Column, Kind, Table
from reports.views.words import counted, date_style, short_date, terminal_width, wrapped

WEEKS = 8
ROWS = 9
KINDS = {"bench": "measured", "station": "measured", "forecast": "forecast"}  # others: model or filled
SIGNS = {"measured": "█", "model or filled": "▒", "forecast": "░", "missing": "·"}
PLAIN_SIGNS = {"measured": "#", "model or filled": "=", "forecast": "-", "missing": "."}
DOUBTFUL = "?"


def weather_picture(
    weather: DailyWeather,
    last: date,
    *,
    days: int = 7 * WEEKS,
    doubtful: Collection[date] = (),
    units: str = "C",
    plain: bool = False,
) -> list[str]:
    """Each day's span from minimum to maximum up to `last`, as a column of characters.

    Days that are unknown are drawn as missing, those of `doubtful` are marked; `plain`: in ASCII only. Lines
    hold at most ``days + 7`` characters, the legend comes last; a single sentence where there is nothing.
    """
    signs = PLAIN_SIGNS if plain else SIGNS
    shown = weather.spanning(last - timedelta(days=days - 1), last)
    known = shown.known
    if not known.any():
        return [f"no weather from {shown.first_day} to {last}"]
    low, high = (c_to_f(v) if units == "F" else v for v in (shown.tmin, shown.tmax))
    kinds = [KINDS.get(source, "model or filled") for source in shown.source.tolist()]
    bottom, top = float(low[known].min()), float(high[known].max()) + 1e-9
    step = max((top - bottom) / ROWS, 0.5)
    lines = []
    for ceiling in top - step * np.arange(ROWS):
        inside = known & (low < ceiling) & (high >= ceiling - step)
        cells = "".join(signs[kind] if there else " " for kind, there in zip(kinds, inside, strict=True))
        label = f"{round(ceiling - step / 2):{5 if plain else 4}d}{'' if plain else '°'}"
        lines.append(f"{label} {cells}".rstrip())
    dates = [date.fromordinal(int(ordinal)) for ordinal in shown.ordinals]
    marks = "".join(
        DOUBTFUL if day in doubtful else " " if there else signs["missing"]
        for day, there in zip(dates, known, strict=True)
    )
    if marks.strip():
        lines.append(f"      {marks}".rstrip())
    lines.append(f"      {_labels(dates)}".rstrip())
    present = {kind for kind, there in zip(kinds, known, strict=True) if there}
    present |= {"missing"} if signs["missing"] in marks else set()
    legend = [f"{sign} {kind}" for kind, sign in signs.items() if kind in present]
    legend += [f"{DOUBTFUL} doubtful, unused"] if DOUBTFUL in marks else []
    return [*lines, "      " + "  ".join(legend)]


def _labels(dates: list[date]) -> str:
    """Labels under the first day of a week and of every second one after it, the month said when new."""
    out = ""
    month = None
    for n, day in enumerate(dates):
        if day == date_style().week_start(day) and len(out) <= n and (not out or n - len(out) >= 2):
            label = short_date(day) if day.month != month else str(day.day)
            if n + len(label) > len(dates):
                break
            month = day.month
            out = out.ljust(n) + label
    return out


OLD = 14  # days after which the newest measured day is called old
SHOWN_DOUBTS = 10


@dataclass(frozen=True)
class WeatherState:
    """All that `weather status` says about one place."""

    place: str
    weather: DailyWeather
    doubts: Sequence[SuspiciousDay]
    origins: Sequence[OriginUse]
    replaced: int = 0


def added_text(read: FileReport, result: AddReport, place: str) -> list[str]:
    """What was read from a file and what became of it; the coverage line comes first."""
    counts = (
        (result.added, "new"),
        (result.replaced, "replaced"),
        (result.unchanged, "there already"),
        (result.kept, "left, because what was there is better"),
    )
    words = ", ".join(f"{n:,} {word}" for n, word in counts if n)
    lines = [
        *read.lines(),
        f"{place}: {counted(result.offered, 'days') if result.changed else 'nothing new'}: {words}",
    ]
    if result.held:
        lines.append(
            f"doubtful: {counted(result.held, 'days')}; the earlier values stay; "
            "see `flushcast weather status`"
        )
    if result.suspicious:
        kept = "is kept apart, unused" if result.suspicious == 1 else "are kept apart, unused"
        lines.append(f"doubtful: {counted(result.suspicious, 'days')} {kept}; see `flushcast weather status`")
    return lines


def status_text(
    state: WeatherState, today: date, now: datetime, units: str = "C", plain: bool = False
) -> list[str]:
    """Coverage by year and source, newest day, forecast, last weeks, doubtful days, origins."""
    weather = state.weather
    measured = np.flatnonzero(weather.known & (weather.source != "forecast"))
    newest = weather.first_day + timedelta(days=int(measured[-1])) if len(measured) else None
    past = weather.between(weather.first_day, min(newest, today) if newest else date.min)
    lines = [state.place, ""]
    lines += [past.coverage().line() if len(past) else "no day measured yet"]
    if newest:
        behind = (today - newest).days
        when = {0: "today", 1: "yesterday"}.get(behind, f"{behind:,} days ago")
        advice = "; add or fetch newer weather before a forecast" if behind > OLD else ""
        lines.append(f"newest day {newest} ({when}){advice}")
        since = weather.between(newest + timedelta(days=1), today - timedelta(days=1))
        if len(since) and since.known.any():
            lines.append(
                f"{counted(int(since.known.sum()), 'days')} since then not measured: their forecasts stand in"
            )
    forecasts = [use for use in state.origins if use.source == "forecast"]
    if forecasts:
        issue = max(forecasts, key=lambda use: use.fetched_at)
        lines.append(f"forecast to {issue.last_day}, fetched {_age(now - issue.fetched_at)} ago")
    lines += ["", *_years(past)]
    if len(weather):
        last = max(min(weather.last_day, today + timedelta(days=16)), today - timedelta(days=366))
        doubted = {doubt.day for doubt in state.doubts if not doubt.accepted}
        lines += ["", *weather_picture(weather, last, doubtful=doubted, units=units, plain=plain)]
    return [*lines, *_doubts(state.doubts, units), "", *_sources(state)]


def _age(age: timedelta) -> str:
    hours = age.total_seconds() / 3600
    if hours < 1:
        return f"{max(round(hours * 60), 0)} min"
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


def _years(weather: DailyWeather) -> list[str]:
    """Days by year and source; a run of years that are whole and from one source shares a line."""
    if not len(weather):
        return []
    rows: list[tuple[int, int, str | None, Counter[str]]] = []  # first and last year, their only source, days
    for year in range(weather.first_day.year, weather.last_day.year + 1):
        part = weather.between(date(year, 1, 1), date(year, 12, 31))
        days = Counter(np.where(part.known, part.source, "missing").tolist())
        only = next((name for name in SOURCES if days[name] == 365 + calendar.isleap(year)), None)
        if rows and only is not None and only == rows[-1][2]:
            first, *_, before = rows.pop()
            rows.append((first, year, only, before + days))
        else:
            rows.append((year, year, only, days))
    columns = [*(name for name in SOURCES if any(days[name] for *_, days in rows)), "missing"]
    width = max(9, *(len(name) + 2 for name in columns))
    lines = ["year     " + "".join(name.rjust(width) for name in columns)]
    for first, last, _, days in rows:
        cells = (f"{days[name]:,}" if days[name] else "-" for name in columns)
        label = str(first) if first == last else f"{first}-{last}"
        lines.append(label.ljust(9) + "".join(cell.rjust(width) for cell in cells))
    return lines


def _doubts(doubts: Sequence[SuspiciousDay], units: str) -> list[str]:
    if not doubts:
        return []
    waiting = [doubt for doubt in doubts if not doubt.accepted]
    accepted = len(doubts) - len(waiting)
    lines = [""]
    if waiting:
        lines.append(f"{len(waiting):,} doubtful, unused until accepted (flushcast weather accept DATE...):")
    for doubt in waiting[:SHOWN_DOUBTS]:
        low, high = (_degrees(value, units) for value in (doubt.tmin, doubt.tmax))
        stays = "; what was there before is used" if doubt.held else ""
        lines.append(f"  {doubt.day}  {doubt.source:7}  {low:>6} {high:>6}  {doubt.reason}{stays}")
    if len(waiting) > SHOWN_DOUBTS:
        lines.append(f"  and {len(waiting) - SHOWN_DOUBTS:,} more")
    if accepted:
        lines.append(f"{counted(accepted, 'doubtful days')} accepted")
    return lines


def _degrees(value: float, units: str) -> str:
    if np.isnan(value):
        return "-"
    return f"{float(c_to_f(value)) if units == 'F' else value:.1f}"


def _sources(state: WeatherState) -> list[str]:
    lines = ["from"]
    for use in state.origins:
        measures = f", measures {use.origin.measures}" if use.origin.measures else ""
        span = f"{use.first_day} to {use.last_day}"
        taken = f"taken {use.fetched_at:%Y-%m-%d}{measures}"
        words = f"  {use.origin}: {counted(use.days, f'{use.source} days')} {span}, {taken}"
        lines += wrapped(words, terminal_width(), hang="    ")
    if state.replaced:
        lines.append(f"  {state.replaced:,} earlier values were replaced; they are kept")
    return lines + list(dict.fromkeys(u.origin.attribution for u in state.origins if u.origin.attribution))


SCHEMA = "flushcast.weather-days/1"
STATES = {
    "used": "used",
    "beside": "not needed",
    "doubtful": "doubtful, unused",
    "held": "waits, unused",
    "replaced": "gave way",
    "missing": "missing",
}


class DayRow(NamedTuple):
    """A value of a day; None where the day has none."""

    day: date
    value: DayValue | None


def _number(value: float) -> float | None:
    return None if isnan(value) else value


def _of_value(
    name: str, kind: Kind, meaning: str, get: Callable[[DayValue], Any], **more: Any
) -> Column[DayRow]:
    """A column of what is told of a value; empty where the day has none."""
    return Column(name, kind, lambda row: None if row.value is None else get(row.value), meaning, **more)


COLUMNS: tuple[Column[DayRow], ...] = (
    Column("day", "date", lambda row: row.day, "The place's local day.", show=date.isoformat),
    _of_value("tmin", "temperature", "Lowest air.", lambda v: _number(v.tmin), digits=1),
    _of_value("tmax", "temperature", "Highest air.", lambda v: _number(v.tmax), digits=1),
    _of_value("source", "text", "What kind of source.", lambda v: v.source),
    Column("state", "text", lambda row: row.value.state if row.value else "missing",
           f"One of {', '.join(STATES)}.", title="what became of it", show=STATES.__getitem__),
    _of_value("origin", "text", "Who gave it.", lambda v: str(v.origin), title="from"),
    _of_value("stations", "number", "How many stations it is from.",
              lambda v: v.stations if v.source == "station" else None, digits=0),
    _of_value("taken", "time", "When it was fetched or added.", lambda v: v.fetched_at,
              show=lambda at: at.date().isoformat()),
    _of_value("reason", "text", "Why it is doubted, or waits.", lambda v: v.reason),
)  # fmt: skip


def weather_days(values: Sequence[DayValue], first: date, last: date, units: str) -> Table[DayRow]:
    """The table of the days from `first` to `last`; a day without any value has a row of its own."""
    by_day: dict[date, list[DayRow]] = {first + timedelta(days=n): [] for n in range((last - first).days + 1)}
    for value in values:
        by_day[value.day].append(DayRow(value.day, value))
    rows = [row for day, mine in by_day.items() for row in mine or [DayRow(day, None)]]
    return Table(SCHEMA, COLUMNS, rows, units=units)
