"""The last weeks of weather as a small picture of terminal characters: one column a day."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, timedelta

import numpy as np

from phenology.model.units import c_to_f
from phenology.weather.series import DailyWeather
from reports.text.words import date_style, short_date

WEEKS = 8
ROWS = 9
SIGNS = {"measured": "█", "other": "▒", "forecast": "░", "missing": "·", "doubtful": "?"}
PLAIN_SIGNS = {"measured": "#", "other": "=", "forecast": "-", "missing": ".", "doubtful": "?"}


def weather_picture(
    weather: DailyWeather,
    last: date,
    *,
    days: int = 7 * WEEKS,
    doubtful: Collection[date] = (),
    units: str = "C",
    plain: bool = False,
) -> list[str]:
    """Each day's span from minimum to maximum, as a column of characters.

    Parameters
    ----------
    weather : DailyWeather
        Days outside it, and unknown ones, are drawn as missing.
    last : datetime.date
        The last day drawn.
    days : int
        How many days; one character each.
    doubtful : collection of date
        Days that are marked and not accepted.
    units : {"C", "F"}
        Of the labels.
    plain : bool
        Only characters of ASCII.

    Returns
    -------
    list of str
        Lines of at most ``days + 7`` characters, the legend last; a single sentence when there is nothing.
    """
    signs = PLAIN_SIGNS if plain else SIGNS
    first = last - timedelta(days=days - 1)
    shown = weather.spanning(first, last)
    low, high = shown.tmin, shown.tmax
    if units == "F":
        low, high = c_to_f(low), c_to_f(high)
    known = shown.known
    if not known.any():
        return [f"no weather from {first} to {last}"]
    bottom, top = float(np.nanmin(low[known])), float(np.nanmax(high[known])) + 1e-9
    step = max((top - bottom) / ROWS, 0.5)
    kind = [_kind(source) for source in shown.source.tolist()]
    lines = []
    for row in range(ROWS):
        ceiling = top - row * step
        floor = ceiling - step
        cells = [
            signs[kind[n]] if known[n] and low[n] < ceiling and high[n] >= floor else " " for n in range(days)
        ]
        middle = round((ceiling + floor) / 2)
        label = f"{middle:4d}°" if not plain else f"{middle:5d}"
        lines.append(f"{label} {''.join(cells)}".rstrip())
    marks = [
        "?" if first + timedelta(days=n) in doubtful else " " if known[n] else signs["missing"]
        for n in range(days)
    ]
    if any(mark != " " for mark in marks):
        lines.append(f"      {''.join(marks)}".rstrip())
    lines.append(f"      {_dates(first, days)}".rstrip())
    lines.append("      " + _legend({k for k, yes in zip(kind, known, strict=True) if yes}, marks, signs))
    return lines


def _kind(source: str) -> str:
    return {"bench": "measured", "station": "measured", "forecast": "forecast"}.get(source, "other")


def _dates(first: date, days: int) -> str:
    """Labels under the first day of a week and of every second one after it, the month said when new."""
    out = ""
    month = None
    for n in range(days):
        day = first + timedelta(days=n)
        if day == date_style().week_start(day) and len(out) <= n and (not out or n - len(out) >= 2):
            label = short_date(day) if day.month != month else str(day.day)
            if n + len(label) > days:
                break
            month = day.month
            out = out.ljust(n) + label
    return out


def _legend(kinds: set[str], marks: list[str], signs: dict[str, str]) -> str:
    words = {"measured": "measured", "other": "model or filled", "forecast": "forecast"}
    parts = [f"{signs[kind]} {name}" for kind, name in words.items() if kind in kinds]
    if signs["missing"] in marks:
        parts.append(f"{signs['missing']} missing")
    if "?" in marks:
        parts.append("? doubtful, unused")
    return "  ".join(parts)
