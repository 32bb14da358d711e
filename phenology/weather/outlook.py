"""The days ahead in possible seasons: the forecast as far as its skill goes, then past years.

A forecast's error grows with its lead until the forecast knows no more than the time of year. With the
error's standard deviation ``e`` at a lead, and the usual spread ``s`` of weather about its normal, a forecast
that varies as much as weather itself correlates with what comes by ``r = 1 - e²/(2 s²)`` (from
``e² = 2 s² (1 - r)``). What comes is then normal about ``usual + r (forecast - usual)`` with variance
``s² (1 - r²)``: the forecast is drawn toward the usual as its skill fades, and the anomalies of past years,
scaled by ``sqrt(1 - r²)``, take its place. At r = 1 a trace is the forecast, at r = 0 it is the past year.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from phenology.model.arrays import Array
from phenology.model.errors import InputError
from phenology.weather.series import DailyWeather

DEFAULT_SD = (1.2, 1.5, 1.8, 2.1, 2.4, 2.8, 3.2, 3.6, 4.0, 4.3, 4.6, 4.8, 5.0, 5.1, 5.2, 5.3)
"""Standard deviation of the error of a day's mean temperature by days ahead, 0 first; the last holds beyond.
[°C] Mid-latitude forecasts for a point, from memory, unverified; the garden's own forecasts correct it."""

PRIOR_ERRORS = 20.0  # independent errors that the default is worth; ours
ALIKE = 3.0  # errors of one lead on days in a row repeat each other: so many count as one; ours


@dataclass(frozen=True, eq=False, repr=False)
class ForecastSkill:
    """The error of forecasts by lead."""

    # standard deviation of the error of the daily mean, never falling with the lead; index 0 is the day of
    # issue, shape (n_leads,) [°C]
    sd: Array
    bias: Array  # mean of forecast minus measured, shrunk toward none, shape (n_leads,) [°C]
    # how many past forecast days it was measured on; all 0 for the default; shape (n_leads,)
    errors: NDArray[np.int64]

    @classmethod
    def default(cls) -> ForecastSkill:
        """What is assumed before there are past forecasts."""
        n = len(DEFAULT_SD)
        return cls(np.array(DEFAULT_SD), np.zeros(n), np.zeros(n, dtype=np.int64))

    def sd_at(self, lead: ArrayLike) -> Array:
        """Standard deviation at leads; the last one holds beyond the longest. [°C]"""
        return np.asarray(self.sd[self._index(lead)])

    def correlation(self, lead: ArrayLike, spread: float) -> Array:
        """How far the forecast decides a day so many days from its issue: 1 wholly, 0 not at all.

        `spread` is the standard deviation of daily means about their normal at the place and season. [°C]

        Examples
        --------
        >>> ForecastSkill.default().correlation([0, 5, 15], spread=4.0).round(2)
        array([0.96, 0.76, 0.12])
        """
        if not spread > 0:
            raise InputError(f"the usual spread must be above 0 °C, got {spread:g}")
        return np.asarray(np.clip(1 - self.sd_at(lead) ** 2 / (2 * spread**2), 0.0, 1.0))

    def line(self) -> str:
        """In words, for a report.

        Examples
        --------
        >>> ForecastSkill.default().line()
        'forecast usually within 1.5 °C tomorrow, 3.6 °C in a week (assumed; no past forecasts yet)'
        """
        n = int(self.errors.max())
        basis = f"measured on {n} past forecasts" if n else "assumed; no past forecasts yet"
        tomorrow, week = self.sd_at(1), self.sd_at(7)
        return f"forecast usually within {tomorrow:.1f} °C tomorrow, {week:.1f} °C in a week ({basis})"

    def _index(self, lead: ArrayLike) -> NDArray[np.int64]:
        return np.clip(np.asarray(lead, dtype=np.int64), 0, len(self.sd) - 1)


def measure_skill(
    issued: ArrayLike, day: ArrayLike, tmin: ArrayLike, tmax: ArrayLike, measured: DailyWeather
) -> ForecastSkill:
    """The skill of past forecasts against what came, drawn toward the default while they are few.

    Parameters
    ----------
    issued, day : array_like of int, shape (n,)
        Ordinals of the day a forecast was issued and the day it speaks of.
    tmin, tmax : array_like, shape (n,)
        What it said; NaN where it said nothing. [°C]
    measured : DailyWeather
        What came. Only days from "bench" and "station" judge a forecast: a model would judge itself.

    Notes
    -----
    The variance at a lead is a mean of the default's and the measured one's, weighted by `PRIOR_ERRORS` and
    the number of errors over `ALIKE`; then leads are pooled until it does not fall (a longer look ahead
    cannot be better).
    """
    start, when = np.asarray(issued, dtype=np.int64), np.asarray(day, dtype=np.int64)
    said = (np.asarray(tmin, dtype=float) + np.asarray(tmax, dtype=float)) / 2
    came = np.full(len(when), np.nan)
    at = when - measured.first_day.toordinal()
    inside = (at >= 0) & (at < len(measured))
    judge = np.where(
        np.isin(measured.source, ("bench", "station")), (measured.tmin + measured.tmax) / 2, np.nan
    )
    came[inside] = judge[at[inside]]
    lead, error = when - start, said - came
    known = ~np.isnan(error) & (lead >= 0)
    default = ForecastSkill.default()
    n_leads = max(len(default.sd), int(lead[known].max()) + 1 if known.any() else 0)
    leads = np.arange(n_leads)
    count, bias = np.zeros(n_leads, dtype=np.int64), np.zeros(n_leads)
    variance = default.sd_at(leads) ** 2
    for one in leads:
        errors = error[known & (lead == one)]
        worth = len(errors) / ALIKE
        count[one] = len(errors)
        if len(errors):
            bias[one] = errors.mean() * worth / (worth + PRIOR_ERRORS)
            squares = float(np.mean((errors - bias[one]) ** 2))
            variance[one] = (PRIOR_ERRORS * variance[one] + worth * squares) / (PRIOR_ERRORS + worth)
    return ForecastSkill(np.sqrt(_never_falling(variance, PRIOR_ERRORS + count / ALIKE)), bias, count)


def hand_over(
    forecast: ArrayLike,
    usual: ArrayLike,
    anomalies: ArrayLike,
    lead: ArrayLike,
    skill: ForecastSkill,
    spread: float,
) -> Array:
    """Possible courses of forecast days: the forecast as far as it goes, past years where it ends.

    Parameters
    ----------
    forecast, usual : array_like, shape (days,)
        What was forecast, NaN where nothing was: those days are the past years' alone; the normal. [°C]
    anomalies : array_like, shape (n_traces, days)
        Past years' departures from their normal, brought to today's climate. [°C]
    lead : array_like of int, shape (days,)
        Days from the forecast's issue.
    spread : float
        As in `ForecastSkill.correlation`. [°C]

    Returns
    -------
    ndarray, shape (n_traces, days)

    Examples
    --------
    >>> skill = ForecastSkill.default()
    >>> hand_over([20.0, np.nan], [15.0, 15.0], [[4.0, 4.0]], [0, 40], skill, 4.0).round(1)
    array([[21., 19.]])
    """
    said, normal = np.asarray(forecast, dtype=float), np.asarray(usual, dtype=float)
    r = np.where(np.isnan(said), 0.0, skill.correlation(lead, spread))
    bias = skill.bias[skill._index(lead)]
    pull = np.where(np.isnan(said), 0.0, said - bias - normal)
    return np.asarray(normal + r * pull + np.sqrt(1 - r**2) * np.asarray(anomalies, dtype=float))


def _never_falling(values: Array, weights: Array) -> Array:
    """The closest series that never falls (pool adjacent violators)."""
    blocks: list[list[float]] = []
    for value, weight in zip(values.tolist(), weights.tolist(), strict=True):
        blocks.append([value, weight, 1])
        while len(blocks) > 1 and blocks[-2][0] > blocks[-1][0]:
            last, before = blocks.pop(), blocks.pop()
            total = last[1] + before[1]
            mean = (last[0] * last[1] + before[0] * before[1]) / total
            blocks.append([mean, total, last[2] + before[2]])
    return np.repeat([b[0] for b in blocks], [int(b[2]) for b in blocks])


LEAST_SPREAD = 0.5  # °C; ours, so that a record without any weather in it does not stop a forecast


@dataclass(frozen=True, eq=False, repr=False)
class Outlook:
    """What is known of the forecast that a record ends with."""

    issued: date  # the place's day on which it was made; leads count from here
    skill: ForecastSkill = field(default_factory=ForecastSkill.default)  # how far it may be trusted
    members: Sequence[DailyWeather] = ()  # the members of an ensemble, if there is one

    def last_day(self) -> date | None:
        """The last day that any member reaches."""
        return max((m.last_day for m in self.members), default=None)

    def members_between(self, first: date, days: int) -> tuple[Array, Array]:
        """Minima and maxima of the members from a day on, NaN where one knows none; (members, days). [°C]"""
        low, high = (np.full((len(self.members), days), np.nan) for _ in range(2))
        for k, member in enumerate(self.members):
            start = (member.first_day - first).days
            a, b = max(start, 0), min(start + len(member), days)
            if a < b:
                low[k, a:b] = member.tmin[a - start : b - start]
                high[k, a:b] = member.tmax[a - start : b - start]
        return low, high


def courses(
    said: tuple[Array, Array], past: tuple[Array, Array], first: date, outlook: Outlook, spread: float
) -> tuple[Array, Array]:
    """Possible courses of days that a forecast reaches.

    Parameters
    ----------
    said : pair of ndarray, shape (days,)
        The forecast's minima and maxima, NaN where it has none. [°C]
    past : pair of ndarray, shape (n_traces, days)
        What past years, brought to today's climate, would make of these days. [°C]
    first : datetime.date
        The first of the days.
    spread : float
        Standard deviation of daily means about the usual year, over all seasons: the errors of forecasts are
        told over all seasons too, and in a calm one both are smaller. [°C]

    Returns
    -------
    tuple of ndarray, shape (n_traces, days)
        Minima and maxima.

    Notes
    -----
    A trace takes its own past year's departure from the mean of all, scaled to the error of the day's lead
    (`hand_over`): nothing is drawn at random. Where members of an ensemble are known, each trace follows
    one, by its departure from their mean, and the past year's departure only tops that up to the spread that
    the lead's error asks for: ensembles spread too little near the ground. Where the members spread more
    than that, they are believed.
    """
    days = len(said[0])
    lead = np.maximum(np.arange(days) + (first - outlook.issued).days, 0)
    usual = tuple(values.mean(0) for values in past)
    away = tuple(values - middle for values, middle in zip(past, usual, strict=True))
    spread = max(spread, LEAST_SPREAD)
    members = outlook.members_between(first, days)
    known = np.isfinite(members[0]) & np.isfinite(members[1])
    whole = known.all(0) if len(known) > 1 else np.zeros(days, dtype=bool)
    reached = whole | (np.isfinite(said[0]) & np.isfinite(said[1]))
    decided = np.where(reached, outlook.skill.correlation(lead, spread), 0.0)
    own = np.ones(days)  # how much of a past year's departure is left to add to a member's
    if whole.any():
        middle = (members[0][:, whole] + members[1][:, whole]) / 2
        wanted = np.mean(((away[0] + away[1]) / 2) ** 2) * (1 - decided[whole] ** 2)
        missing = np.clip(wanted - middle.var(0), 0.0, None)
        own[whole] = np.sqrt(missing / np.maximum(wanted, 1e-9))
    out = []
    for values, middle, departures, each in zip(said, usual, away, members, strict=True):
        forecast = np.where(reached, values, np.nan)
        if whole.any():
            mean = each[:, whole].mean(0)
            forecast[whole] = np.where(np.isfinite(forecast[whole]), forecast[whole], mean)
        course = hand_over(forecast, middle, departures * own, lead, outlook.skill, spread)
        if whole.any():
            course[:, whole] += (each[:, whole] - mean)[_turns(len(course), len(each))]
        out.append(course)
    return out[0], out[1]


def _turns(traces: int, members: int) -> NDArray[np.int64]:
    """Which member each trace follows: all in turn, or evenly picked ones where there are more of them."""
    k = np.arange(traces)
    return k % members if traces >= members else k * members // traces
