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
