"""Is this day's weather believable? Checks that mark days, and one that finds readings under the wrong date.

A mark is a doubt, not a verdict: marked days are shown and left unused until somebody accepts them. The
limits are wide, so that real record days pass. The kinds of check are those that climate archives run (I.
Durre et al., "Comprehensive automated quality assurance of daily surface observations", J. Appl. Meteor.
Climatol., vol. 49, pp. 1615-1633, 2010); the limits for spikes and streaks follow it from memory,
unverified; the others are ours, assumed.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from phenology.language.degrees import degrees, degrees_apart
from phenology.model.arrays import Array
from phenology.weather.series import DailyWeather

Mask = NDArray[np.bool_]

COLDEST, HOTTEST = -89.2, 56.7  # °C; ever measured on earth (WMO's archive of extremes)
WIDEST_DAY = 40.0  # °C between tmin and tmax; assumed
SPIKE = 25.0  # °C away from both the day before and the day after
STUCK_PAIR, STUCK_ONE, STUCK_FLAT = 7, 20, 3  # days: both extremes the same; one of them; tmin equal to tmax
OUT_OF_SEASON = (18.0, 7.0)  # °C, and robust standard deviations, from the usual of the time of year; assumed
YEARS_FOR_SEASON = 3  # years of days before the time of year has a usual
APART = (10.0, 6.0)  # the same, from a neighbour, beyond the usual difference; assumed
SHIFT_BLOCK, SHIFT_LEAST, SHIFT_GAIN = (182, 90, 0.15)  # days of a block, days needed, correlation; ours


@dataclass(frozen=True)
class ShiftedDays:
    """A stretch whose values fit a neighbour better when moved by a day: read at another hour, or misdated.

    `by` is the move that fits: -1 when the values belong to the day before the one they stand on (a
    maximum read in the morning). The correlations are of day-to-day changes.
    """

    variable: str
    first_day: date
    last_day: date
    by: int
    correlation: float
    correlation_moved: float

    def __str__(self) -> str:
        belongs = "before" if self.by < 0 else "after"
        fits = f"correlation {self.correlation_moved:.2f} against {self.correlation:.2f}"
        return (
            f"{self.variable} from {self.first_day} to {self.last_day} fits the day {belongs} better "
            f"({fits}): read in the morning, or misdated?"
        )


def doubtful_days(weather: DailyWeather, neighbour: DailyWeather | None = None) -> dict[date, str]:
    """Days that are hard to believe, in order, each with the first reason found.

    A longer series is judged better. A neighbour is another series for the same region (a station, a model).
    A steady difference is no fault.

    Examples
    --------
    >>> doubtful_days(DailyWeather(date(2026, 7, 1), [14.0, 15.0, 13.0], [26.0, 72.0, 25.0], "station"))
    {datetime.date(2026, 7, 2): 'tmax 72 °C: such heat was never measured on earth'}
    """
    marks: dict[int, str] = {}
    found = [check(weather) for check in (_beyond_records, _stuck, _spikes, _out_of_season)]
    if neighbour is not None:
        found.append(_far_from(weather, neighbour.spanning(weather.first_day, weather.last_day)))
    for reasons in found:
        for at, reason in reasons.items():
            marks.setdefault(at, reason)
    return {weather.first_day + timedelta(days=at): marks[at] for at in sorted(marks)}


def without_crossed_days(
    first_day: date, tmin: ArrayLike, tmax: ArrayLike, source: ArrayLike | str
) -> tuple[DailyWeather, dict[date, str]]:
    """A series from raw values in which a minimum may stand above its maximum: such days become unknown.

    They come beside it, with their values.
    """
    low, high = np.array(tmin, dtype=float), np.array(tmax, dtype=float)
    bad = low > high
    crossed = {
        first_day + timedelta(days=int(at)): f"tmin {degrees(low[at])} above tmax {degrees(high[at])}"
        for at in np.flatnonzero(bad)
    }
    low[bad] = high[bad] = np.nan
    return DailyWeather(first_day, low, high, source), crossed


def shifted_days(weather: DailyWeather, neighbour: DailyWeather) -> list[ShiftedDays]:
    """Stretches that fit a neighbour better when moved by one day.

    Looked at in half-years, for minimum and maximum apart, by the correlation of day-to-day changes (the
    seasons would correlate whatever the date). Neighbouring half-years with the same finding are joined.
    """
    other = neighbour.spanning(weather.first_day, weather.last_day)
    found: list[ShiftedDays] = []
    for name in ("tmin", "tmax"):
        mine, theirs = np.diff(getattr(weather, name)), np.diff(getattr(other, name))
        for block in _blocks(len(mine)):
            by_move = {move: _correlation(mine, theirs, block, move) for move in (-1, 0, 1)}
            best = max(by_move, key=lambda move: by_move[move])
            if best == 0 or by_move[best] < by_move[0] + SHIFT_GAIN or by_move[best] < 0.4:
                continue
            first = weather.first_day + timedelta(days=block.start)
            last = weather.first_day + timedelta(days=block.stop)
            before = found[-1] if found else None
            if before and (before.variable, before.by) == (name, best) and first <= before.last_day:
                kept = (before.correlation + by_move[0]) / 2, (before.correlation_moved + by_move[best]) / 2
                found[-1] = ShiftedDays(name, before.first_day, last, best, *kept)
            else:
                found.append(ShiftedDays(name, first, last, best, by_move[0], by_move[best]))
    return found


def _blocks(n: int) -> list[slice]:
    """Half-years; a rest too short to judge joins the one before it."""
    starts = list(range(0, n, SHIFT_BLOCK)) or [0]
    if len(starts) > 1 and n - starts[-1] < SHIFT_LEAST:
        starts.pop()
    return [slice(a, b) for a, b in zip(starts, [*starts[1:], n], strict=True)]


def _beyond_records(weather: DailyWeather) -> dict[int, str]:
    marks = {}
    for name, values in _extremes(weather):
        for at in np.flatnonzero(values > HOTTEST):
            marks[int(at)] = f"{name} {degrees(values[at])}: such heat was never measured on earth"
        for at in np.flatnonzero(values < COLDEST):
            marks[int(at)] = f"{name} {degrees(values[at])}: such cold was never measured on earth"
    width = weather.tmax - weather.tmin
    for at in np.flatnonzero(width > WIDEST_DAY):
        marks.setdefault(int(at), f"{degrees_apart(width[at])} between tmin and tmax")
    return marks


def _stuck(weather: DailyWeather) -> dict[int, str]:
    low, high = weather.tmin, weather.tmax
    same_low, same_high = (np.append(False, np.diff(values) == 0) for values in (low, high))
    marks: dict[int, str] = {}
    flat = low == high
    for start, stop in runs(flat, STUCK_FLAT):
        marks |= dict.fromkeys(
            range(start, stop), f"tmin equals tmax for {stop - start} days: a stuck sensor?"
        )
    for same, least, name in (
        (same_low & same_high, STUCK_PAIR, "tmin and tmax"),
        (same_low, STUCK_ONE, "tmin"),
        (same_high, STUCK_ONE, "tmax"),
    ):
        for start, stop in runs(same, least - 1):
            reason = f"{name} unchanged for {stop - start + 1} days: a stuck sensor?"
            for at in range(start - 1, stop):
                marks.setdefault(at, reason)
    return marks


def _spikes(weather: DailyWeather) -> dict[int, str]:
    marks = {}
    for name, values in _extremes(weather):
        if len(values) < 3:
            continue
        before, after = values[1:-1] - values[:-2], values[1:-1] - values[2:]
        away = np.minimum(np.abs(before), np.abs(after))
        for at in np.flatnonzero((away >= SPIKE) & (before * after > 0)) + 1:
            far = f"{degrees_apart(away[at - 1])} from the days before and after"
            marks[int(at)] = f"{name} {degrees(values[at])} is {far}"
    return marks


def _out_of_season(weather: DailyWeather) -> dict[int, str]:
    """Far from the usual of the time of year, once several years tell what is usual."""
    if len(weather) < YEARS_FOR_SEASON * 365:
        return {}
    slot = (weather.ordinals % 365.2425 // 15).astype(int)  # half-months, each judged with its neighbours
    n_slots = int(slot.max()) + 1
    marks = {}
    for name, values in _extremes(weather):
        for here in range(n_slots):
            near = np.isin(slot, [(here - 1) % n_slots, here, (here + 1) % n_slots]) & ~np.isnan(values)
            if near.sum() < 60:
                continue
            middle, spread = robust(values[near])
            away = np.where(slot == here, np.abs(values - middle), 0.0)
            for at in np.flatnonzero(away > max(OUT_OF_SEASON[0], OUT_OF_SEASON[1] * spread)):
                usual = f"the usual of the time of year is {degrees(round(middle))}"
                marks[int(at)] = f"{name} {degrees(values[at])} where {usual}"
    return marks


def _far_from(weather: DailyWeather, other: DailyWeather) -> dict[int, str]:
    marks = {}
    for name, values in _extremes(weather):
        theirs = getattr(other, name)
        gap = values - theirs
        known = ~np.isnan(gap)
        if known.sum() < 20:
            continue
        steady = _running_median(gap, 31)
        _, spread = robust((gap - steady)[known])
        away = np.abs(gap - steady)
        for at in np.flatnonzero(away > max(APART[0], APART[1] * spread)):
            expected = theirs[at] + steady[at]
            marks[int(at)] = (
                f"{name} {degrees(values[at])} where the neighbour leads to expect {degrees(round(expected))}"
            )
    return marks


def _extremes(weather: DailyWeather) -> tuple[tuple[str, Array], tuple[str, Array]]:
    return ("tmin", weather.tmin), ("tmax", weather.tmax)


def runs(mask: Mask, least: int) -> list[tuple[int, int]]:
    """Where `mask` is true for at least `least` days on end: (start, stop)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    pairs = zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    return [(start, stop) for start, stop in pairs if stop - start >= least]


def robust(values: Array) -> tuple[float, float]:
    """Median, and the standard deviation that the median absolute deviation stands for."""
    middle = float(np.median(values))
    return middle, 1.4826 * float(np.median(np.abs(values - middle)))


def _running_median(values: Array, width: int) -> Array:
    """Median of the known values around each day; of all of them where none is near."""
    padded = np.concatenate((np.full(width // 2, np.nan), values, np.full(width // 2, np.nan)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, width)
    out = np.full(len(values), np.nanmedian(values))
    some = ~np.isnan(windows).all(axis=1)
    out[some] = np.nanmedian(windows[some], axis=1)
    return out


def _correlation(mine: Array, theirs: Array, block: slice, move: int) -> float:
    """Correlation of a block of `mine` with `theirs` on the day `move` days away; -1 with too few days."""
    at = np.arange(block.start, block.stop)
    at = at[(at + move >= 0) & (at + move < len(theirs))]
    a, b = mine[at], theirs[at + move]
    both = ~(np.isnan(a) | np.isnan(b))
    if both.sum() < SHIFT_LEAST or np.ptp(a[both]) == 0 or np.ptp(b[both]) == 0:
        return -1.0
    return float(np.corrcoef(a[both], b[both])[0, 1])
