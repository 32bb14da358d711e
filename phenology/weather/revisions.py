"""New and corrected days beside those that are known: what is hard to believe, and what must wait.

A series alone cannot tell that its newest fortnight is in another unit. Beside the days known before, the
neighbours of the place and its usual year it can. The limits are ours, assumed; they are wide, so that real
record days pass.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from phenology.language.degrees import degrees, degrees_apart
from phenology.model.arrays import Array
from phenology.weather.quality import doubtful_days, robust, runs
from phenology.weather.series import DailyWeather, merge_weather

Days = NDArray[np.floating[Any]]

APART, APART_SPREADS = 10.0, 6.0  # °C, and robust standard deviations, from what a neighbour leads to expect
APART_UNKNOWN = 15.0  # °C, while nobody knows how the two usually differ
DAYS_TO_COMPARE = 20  # before it is known how two series differ
RUN = 3  # days on end
RUN_FAR, RUN_SPREADS = 12.0, 3.5  # °C and standard deviations of such a run from the usual of the season
SEASON = 15  # days either way that tell the usual of a day of the year
YEARS_BACK = 5  # of known days that new ones are judged with
LARGE, LARGE_REFINED = 5.0, 10.0  # °C of a correction; of one that comes from more stations
NEAR = 5  # days beside a large correction
SMALL, MANY = 0.5, 30  # °C from which a correction counts, and how many at once are a mass


def unlikely_days(
    new: DailyWeather,
    known: DailyWeather | None,
    neighbour: DailyWeather | None,
    doubts: Mapping[date, str] | None = None,
) -> dict[date, str]:
    """Days that are hard to believe beside what is known, in order, each with the first reason found.

    Parameters
    ----------
    new : DailyWeather
        Days on offer; those that are known just so are not judged again.
    known : DailyWeather or None
        Good days of the same source.
    neighbour : DailyWeather or None
        Other sources of the place, forecasts included. A steady difference is no fault.
    doubts : mapping of date to str, optional
        Days that the source itself has reason to doubt.
    """
    if known is not None:
        back = date.fromordinal(max(new.first_day.toordinal() - YEARS_BACK * 366, 1))
        known = known.between(back, new.last_day)
    series = merge_weather([new, known]) if known is not None else new
    found = {**doubtful_days(series), **(doubts or {})}
    before = known.spanning(new.first_day, new.last_day) if known is not None else None
    fresh = new.source != ""
    if before is not None:
        fresh &= ~((new.tmin == before.tmin) & (new.tmax == before.tmax))
    for check in (_apart_from(new, known, neighbour), _runs_out_of_season(new, known)):
        for at, reason in check.items():
            found.setdefault(date.fromordinal(int(new.ordinals[at])), reason)
    days = (date.fromordinal(int(ordinal)) for ordinal in new.ordinals[fresh])
    return {day: found[day] for day in days if day in found}


def waiting_corrections(
    new: DailyWeather, stations: NDArray[np.int64], old: DailyWeather, stations_before: NDArray[np.int64]
) -> dict[date, str]:
    """Corrections that wait until they are confirmed, with why: very large ones, and many at once.

    `old` has the good days they would take the place of, on the same days; with each comes how many stations
    a day is from, and was from. Days that were not known before are among them where there are too many at
    once, and beside very large ones.
    """
    step = np.fmax(np.abs(new.tmin - old.tmin), np.abs(new.tmax - old.tmax))
    refined = stations > stations_before
    large = step > np.where(refined, LARGE_REFINED, LARGE)
    many = (step > SMALL) & ~refined
    unknown = (new.source != "") & (old.source == "")
    waiting = {int(at): f"corrected by {degrees_apart(step[at])} at once" for at in np.flatnonzero(large)}
    beside = np.convolve(large, np.ones(2 * NEAR + 1), "same")[: len(large)] > 0
    for at in np.flatnonzero(unknown & beside):
        waiting[int(at)] = "beside days that were corrected by much"
    if many.sum() > MANY:
        why = f"one of {many.sum():,} days that were corrected at once"
        waiting |= {int(at): why for at in np.flatnonzero(many | unknown)}
    return {date.fromordinal(int(new.ordinals[at])): waiting[at] for at in sorted(waiting)}


def _apart_from(
    new: DailyWeather, known: DailyWeather | None, neighbour: DailyWeather | None
) -> dict[int, str]:
    """Far from the neighbour, beyond the difference that the days known before have from it."""
    marks: dict[int, str] = {}
    if neighbour is None:
        return marks
    theirs = neighbour.spanning(new.first_day, new.last_day)
    before = neighbour.spanning(known.first_day, known.last_day) if known is not None else None
    for name in ("tmin", "tmax"):
        gap = getattr(new, name) - getattr(theirs, name)
        usual, limit = 0.0, APART_UNKNOWN
        if known is not None and before is not None:
            gaps = getattr(known, name) - getattr(before, name)
            gaps = gaps[~np.isnan(gaps)]
            if len(gaps) >= DAYS_TO_COMPARE:
                usual, spread = robust(gaps)
                limit = max(APART, APART_SPREADS * spread)
        for at in np.flatnonzero(np.abs(gap - usual) > limit):
            expected = degrees(round(getattr(theirs, name)[at] + usual))
            value = degrees(getattr(new, name)[at])
            marks.setdefault(int(at), f"{name} {value} where the other sources lead to expect {expected}")
    return marks


def _runs_out_of_season(new: DailyWeather, known: DailyWeather | None) -> dict[int, str]:
    """Several days on end far on one side of the usual of the season: single record days pass."""
    marks: dict[int, str] = {}
    if known is None:
        return marks
    ours, theirs = new.ordinals % 365.2425, known.ordinals % 365.2425
    for name in ("tmin", "tmax"):
        middle, spread = _usual(ours, theirs, getattr(known, name))
        away = getattr(new, name) - middle
        far = np.fmax(RUN_FAR, RUN_SPREADS * spread)
        for side in (away > far, -away > far):
            for start, stop in runs(side, RUN):
                for at in range(start, stop):
                    value, usual = degrees(getattr(new, name)[at]), degrees(round(middle[at]))
                    why = f"{name} {value}, one of {stop - start} days on end far from the usual {usual}"
                    marks.setdefault(at, why)
    return marks


def _usual(days: Days, known_days: Days, values: Array) -> tuple[Array, Array]:
    """Mean and standard deviation of the season of each day; NaN where it is not known from two years."""
    order = np.argsort(known_days)
    order = order[~np.isnan(values[order])]
    at, sums = known_days[order], np.cumsum(np.r_[0.0, values[order]])
    squares = np.cumsum(np.r_[0.0, values[order] ** 2])
    lo, hi = np.searchsorted(at, days - SEASON), np.searchsorted(at, days + SEASON)
    n = np.where(hi - lo >= 3 * SEASON, hi - lo, np.nan)
    mean = (sums[hi] - sums[lo]) / n
    return mean, np.sqrt(np.fmax((squares[hi] - squares[lo]) / n - mean**2, 0.0))
