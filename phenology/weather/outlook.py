"""The days ahead in possible seasons: the forecast as far as its skill goes, then past years."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from phenology.model.arrays import Array
from phenology.weather.forecast_skill import ForecastSkill, hand_over
from phenology.weather.series import DailyWeather

LEAST_SPREAD = 0.5  # °C; ours, so that a record without any weather in it does not stop a forecast


@dataclass(frozen=True, eq=False)
class Outlook:
    """What is known of the forecast that a record ends with.

    Attributes
    ----------
    issued : datetime.date
        The place's day on which it was made; leads count from here.
    skill : ForecastSkill
        How far it may be trusted.
    members : sequence of DailyWeather
        The members of an ensemble, if there is one.
    """

    issued: date
    skill: ForecastSkill = field(default_factory=ForecastSkill.default)
    members: Sequence[DailyWeather] = ()

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
    said: tuple[Array, Array],
    past: tuple[Array, Array],
    first: date,
    outlook: Outlook,
    spread: float,
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
    outlook : Outlook
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
