"""What there is of weather, in words: after adding a file, and the state of the store."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from data_sources.weather.files.report import FileReport
from data_sources.weather.store.weather_store import AddReport, OriginUse, SuspiciousDay
from phenology.model.units import c_to_f
from phenology.weather.series import SOURCES, DailyWeather
from reports.text.weather_picture import weather_picture

OLD = 14  # days after which the newest measured day is called old
SHOWN_DOUBTS = 10


@dataclass(frozen=True)
class WeatherState:
    """All that `weather status` tells about one place."""

    place: str
    weather: DailyWeather
    doubts: Sequence[SuspiciousDay]
    origins: Sequence[OriginUse]
    replaced: int = 0


def added_text(read: FileReport, result: AddReport, place: str) -> list[str]:
    """What was read from a file and what became of it; the coverage line comes first."""
    lines = list(read.lines())
    counts = (
        (result.added, "new"),
        (result.replaced, "replaced"),
        (result.unchanged, "there already"),
        (result.kept, "left, because what was there is better"),
    )
    told = ", ".join(f"{n:,} {word}" for n, word in counts if n)
    lines.append(
        f"{place}: {_days(result.offered)}: {told}" if result.changed else f"{place}: nothing new: {told}"
    )
    if result.suspicious:
        kept = "is kept apart, unused" if result.suspicious == 1 else "are kept apart, unused"
        lines.append(f"doubtful: {_days(result.suspicious)} {kept}; see `flushcast weather status`")
    return lines


def _days(n: int) -> str:
    return f"{n:,} {'day' if n == 1 else 'days'}"


def status_text(
    state: WeatherState, today: date, now: datetime, *, units: str = "C", plain: bool = False
) -> list[str]:
    """Coverage by year and source, newest day, forecast, last weeks, doubtful days, origins."""
    weather = state.weather
    newest = _newest_measured(weather)
    past = weather.between(weather.first_day, min(newest, today) if newest else date.min)
    lines = [state.place, ""]
    lines += [past.coverage().line() if len(past) else "no day measured yet"]
    lines += _newest(weather, state.origins, today, now)
    lines += ["", *_years(past), ""]
    doubted = {doubt.day for doubt in state.doubts if not doubt.accepted}
    if not len(weather):
        return [*lines, *_doubts(state.doubts, units), "", *_sources(state)]
    last = max(min(weather.last_day, today + timedelta(days=16)), today - timedelta(days=366))
    lines += weather_picture(weather, last, doubtful=doubted, units=units, plain=plain)
    lines += _doubts(state.doubts, units)
    lines += ["", *_sources(state)]
    return lines


def _newest(weather: DailyWeather, origins: Sequence[OriginUse], today: date, now: datetime) -> list[str]:
    lines = []
    newest = _newest_measured(weather)
    if newest:
        behind = (today - newest).days
        when = {0: "today", 1: "yesterday"}.get(behind, f"{behind:,} days ago")
        advice = "; add or fetch newer weather before a forecast" if behind > OLD else ""
        lines.append(f"newest day {newest} ({when}){advice}")
    forecasts = [use for use in origins if use.source == "forecast"]
    if forecasts:
        newest_issue = max(forecasts, key=lambda use: use.fetched_at)
        lines.append(
            f"forecast to {newest_issue.last_day}, fetched {_age(now - newest_issue.fetched_at)} ago"
        )
    return lines


def _newest_measured(weather: DailyWeather) -> date | None:
    at = np.flatnonzero(weather.known & (weather.source != "forecast"))
    return weather.first_day + timedelta(days=int(at[-1])) if len(at) else None


def _age(age: timedelta) -> str:
    hours = age.total_seconds() / 3600
    if hours < 1:
        return f"{max(round(hours * 60), 0)} min"
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"


def _years(weather: DailyWeather) -> list[str]:
    """Days by year and source; a run of years that are whole and from one source shares a line."""
    if not len(weather):
        return []
    rows: list[tuple[int, int, dict[str, int], int]] = []
    for year in range(weather.first_day.year, weather.last_day.year + 1):
        part = weather.between(date(year, 1, 1), date(year, 12, 31)).coverage()
        whole = not part.missing and len(part.by_source) == 1 and part.days >= 365
        if rows and whole:
            first, last, before, missing = rows[-1]
            if (
                not missing
                and last == year - 1
                and list(before) == list(part.by_source)
                and _whole(before, first, last)
            ):
                (name,) = before
                rows[-1] = (first, year, {name: before[name] + part.by_source[name]}, 0)
                continue
        rows.append((year, year, part.by_source, part.missing))
    used = [name for name in SOURCES if any(name in by_source for _, _, by_source, _ in rows)]
    columns = [*used, "missing"]
    width = max(9, *(len(name) + 2 for name in columns))
    lines = ["year     " + "".join(name.rjust(width) for name in columns)]
    for first, last, by_source, missing in rows:
        label = str(first) if first == last else f"{first}-{last}"
        counts = [by_source.get(name, 0) for name in used] + [missing]
        lines.append(label.ljust(9) + "".join((f"{n:,}" if n else "-").rjust(width) for n in counts))
    return lines


def _whole(by_source: dict[str, int], first: int, last: int) -> bool:
    return sum(by_source.values()) == (date(last, 12, 31) - date(first, 1, 1)).days + 1


def _doubts(doubts: Sequence[SuspiciousDay], units: str) -> list[str]:
    open_ones = [doubt for doubt in doubts if not doubt.accepted]
    accepted = len(doubts) - len(open_ones)
    if not doubts:
        return []
    lines = [""]
    if open_ones:
        lines.append(
            f"{len(open_ones):,} doubtful, unused until accepted (flushcast weather accept DATE...):"
        )
        for doubt in open_ones[:SHOWN_DOUBTS]:
            low, high = (_degrees(value, units) for value in (doubt.tmin, doubt.tmax))
            lines.append(f"  {doubt.day}  {doubt.source:7}  {low:>6} {high:>6}  {doubt.reason}")
        if len(open_ones) > SHOWN_DOUBTS:
            lines.append(f"  and {len(open_ones) - SHOWN_DOUBTS:,} more")
    if accepted:
        lines.append(f"{accepted:,} doubtful {'day' if accepted == 1 else 'days'} accepted")
    return lines


def _degrees(value: float, units: str) -> str:
    if np.isnan(value):
        return "-"
    return f"{float(c_to_f(value)) if units == 'F' else value:.1f}"


def _sources(state: WeatherState) -> list[str]:
    lines = ["from"]
    for use in state.origins:
        origin = " ".join(filter(None, (use.origin.provider, use.origin.detail)))
        measures = f", measures {use.origin.measures}" if use.origin.measures else ""
        span = f"{use.first_day} to {use.last_day}"
        lines.append(
            f"  {origin}: {use.days:,} {use.source} days {span}, taken {use.fetched_at:%Y-%m-%d}{measures}"
        )
    if state.replaced:
        lines.append(f"  {state.replaced:,} earlier values were replaced; they are kept")
    lines += list(dict.fromkeys(use.origin.attribution for use in state.origins if use.origin.attribution))
    return lines
