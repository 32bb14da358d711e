"""Rival clocks: the ways a flush may keep time, from plain heat to plain days.

A clock turns a day's extremes into a rate; thermal time is the sum of the rates. No clock is picked: the
requirement model weighs all of them by how well each explains the dates that were seen. Rates carry a
small calendar part so that time never stands quite still (two looks with no heat between them must not
be impossible).

Spring and autumn answer to the length of the day as well: in early spring heat counts for more as days
lengthen, and late in the season buds set and leaves harden sooner as days shorten (textbook knowledge).
Some clocks run by it: short days alone, heat that counts for more in short days, or in long ones.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from phenology.heat.temperature_response import daily_response
from phenology.heat.thermal_time import degree_days
from phenology.model.arrays import Array

# Ours: a day without any heat still counts as this share of a day at 18 degC.
CALENDAR_SHARE = 0.02
REFERENCE_C = 18.0
# Days outside this range count as its ends, so that a polar summer does not stop a clock (ours). [h]
HOURS_RANGE = (8.0, 20.0)


@dataclass(frozen=True)
class Clock:
    """One way of keeping time."""

    name: str  # short name for tables and messages
    # `sine`: degree-days above `base` from a sine day, no upper threshold. `falling`: the Wang-Engel response
    # from `base` over `optimum` to zero at `ceiling`. `days`: every day counts alike. `light`: the shorter
    # the day, the more it counts. `date`: every day counts alike, from the date on which the wait usually
    # begins rather than from the day it began, so that a late start does not make a late end.
    kind: str
    base: float = 0.0  # cardinal temperatures, like the next two [degC]
    optimum: float = 28.0
    ceiling: float = 42.0
    # how much more a day counts for each hour of daylight more, on the log scale; below 0 short days count
    # for more [1/h]
    per_hour: float = 0.0
    usual_hours: float = 14.0  # length of the day at which it runs as it would without regard to light [h]

    def rates(self, tmin: Array, tmax: Array, hours: Array | None = None) -> Array:
        """Daily rates, scaled so that a day at a constant 18 degC counts 1.

        Parameters
        ----------
        tmin, tmax : ndarray, any equal shape
            Daily extremes. [degC]
        hours : ndarray, broadcasting with them, optional
            Daylight. Where it is not known, all days are taken to be equally long. [h]

        Returns
        -------
        ndarray, same shape
            Days at 18 degC that each day is worth; NaN where an input is NaN.
        """
        return self._warm(tmin, tmax) * self.pace(hours)

    def pace(self, hours: Array | None) -> Array:
        """What the length of the day makes of each day's rate; 1 for a clock that does not answer to it."""
        if hours is None or not self.by_light:
            return np.ones(1)
        return np.asarray(np.exp(self.per_hour * (np.clip(hours, *HOURS_RANGE) - self.usual_hours)))

    def _warm(self, tmin: Array, tmax: Array) -> Array:
        """The rates by temperature alone."""
        if self.by_calendar:
            return np.where(np.isnan(tmin) | np.isnan(tmax), np.nan, 1.0)
        raw = _by_warmth(*self._warmth, tmin, tmax)
        return np.asarray((1 - CALENDAR_SHARE) * raw / _at_reference(*self._warmth) + CALENDAR_SHARE)

    @property
    def per_degree(self) -> float:
        """What one degree more on a mild day adds to the rate. [days at 18 degC per degC]"""
        return 0.0 if self.by_calendar else (1 - CALENDAR_SHARE) / (REFERENCE_C - self.base)

    @property
    def by_calendar(self) -> bool:
        """Whether the clock runs without regard to warmth."""
        return self.kind in ("days", "light", "date")

    @property
    def by_light(self) -> bool:
        """Whether the clock answers to the length of the day."""
        return self.per_hour != 0.0

    @property
    def from_usual(self) -> bool:
        """Whether the clock starts on the usual date instead of the day the wait began."""
        return self.kind == "date"

    @property
    def _warmth(self) -> tuple[str, float, float, float]:
        """What its answer to warmth rests on: clocks that differ in light alone share it."""
        return self.kind, self.base, self.optimum, self.ceiling


def _by_warmth(kind: str, base: float, optimum: float, ceiling: float, tmin: Array, tmax: Array) -> Array:
    if kind == "sine":
        return np.asarray(degree_days(tmin, tmax, base, method="single_sine"))
    return np.asarray(daily_response(tmin, tmax, base, optimum, ceiling))


@cache
def _at_reference(kind: str, base: float, optimum: float, ceiling: float) -> float:
    """The same of a day at a constant 18 degC."""
    day = np.array([REFERENCE_C])
    return float(_by_warmth(kind, base, optimum, ceiling, day, day)[0])


HEAT_CLOCKS: tuple[Clock, ...] = (
    *(Clock(f"heat above {b:g}", "sine", b) for b in (0.0, 2.5, 5.0, 7.5, 10.0)),
    *(Clock(f"heat above {b:g}, none at 42", "falling", b) for b in (0.0, 4.0, 8.0)),
)
# Ours: by how much an hour of light counts, and from which length of day.
LENGTHENING_CLOCK = Clock("heat above 5, more in long days", "sine", 5.0, per_hour=0.3, usual_hours=12.0)
SHORTENING_CLOCK = Clock("heat above 5, more in short days", "sine", 5.0, per_hour=-0.2)
LIGHT_CLOCK = Clock("short days", "light", per_hour=-0.2)
DAYS_CLOCK = Clock("plain days", "days")
DATE_CLOCK = Clock("date", "date")
CLOCKS: tuple[Clock, ...] = (
    *HEAT_CLOCKS,
    LENGTHENING_CLOCK,
    SHORTENING_CLOCK,
    LIGHT_CLOCK,
    DAYS_CLOCK,
    DATE_CLOCK,
)


def clock_weights(
    heat: float,
    days: float,
    date: float,
    *,
    lengthening: float = 0.0,
    shortening: float = 0.0,
    light: float = 0.0,
) -> tuple[float, ...]:
    """Prior weights of `CLOCKS`: a share for heat, spread over its clocks, and one for each of the others."""
    return (*(heat / len(HEAT_CLOCKS) for _ in HEAT_CLOCKS), lengthening, shortening, light, days, date)


USUAL_WEIGHTS = clock_weights(0.85, 0.10, 0.05)
"""Ours: what a wait is believed to follow where nothing else is said."""


@dataclass(frozen=True, eq=False, repr=False)
class ThermalTime:
    """Thermal time: the running sums of several clocks over one run of days.

    `sums[..., c, n]` is clock c's reading at the end of day n; `sums[..., c, 0]` is 0.
    Leading axes, if any, are traces.
    """

    sums: Array

    @property
    def days(self) -> int:
        """Number of days covered."""
        return int(self.sums.shape[-1]) - 1

    def until(self, day: int) -> ThermalTime:
        """The same to the end of a day; always the same object, for what is worked out of it."""
        if day not in self._until:
            self._until[day] = ThermalTime(self.sums[..., : day + 1])
        return self._until[day]

    @cached_property
    def _until(self) -> dict[int, ThermalTime]:
        return {}

    @cached_property
    def lines(self) -> NDArray[np.float32]:
        """The readings clock by clock in single precision, shape (clocks, traces, days + 1)."""
        self.sums.flags.writeable = False  # so that what was made of them cannot grow stale
        sums = self.sums if self.sums.ndim == 3 else self.sums[None]
        return np.ascontiguousarray(np.swapaxes(sums, 0, 1), dtype=np.float32)

    @cached_property
    def least(self) -> NDArray[np.float32]:
        """The lowest reading of any trace, shape (clocks, days + 1)."""
        return np.asarray(self.lines.min(1))

    @cached_property
    def most(self) -> NDArray[np.float32]:
        """The highest."""
        return np.asarray(self.lines.max(1))

    def at(self, t: float | Array) -> Array:
        """Readings at times `t`; shape (..., clocks) for a scalar, (..., clocks, len(t)) for an array."""
        where = np.clip(np.asarray(t, dtype=float), 0, self.days)
        low = np.minimum(np.floor(where).astype(int), self.days - 1)
        part = where - low
        return np.asarray(self.sums[..., low] * (1 - part) + self.sums[..., low + 1] * part)


def accumulate(
    tmin: Array, tmax: Array, clocks: Sequence[Clock] = CLOCKS, hours: Array | None = None
) -> ThermalTime:
    """Let the clocks run over days with known extremes.

    Parameters
    ----------
    tmin, tmax : ndarray, shape (..., days)
        Daily extremes without gaps (fill them first and carry their variance). [degC]
    clocks : sequence of Clock
        The clocks to run.
    hours : ndarray, shape (days,), optional
        Daylight; without it all days are taken to be equally long. [h]

    Returns
    -------
    ThermalTime
        Sums of shape (..., clocks, days + 1), in days at 18 degC.
    """
    warm: dict[tuple[object, ...], Array] = {}
    sums = np.zeros((*tmin.shape[:-1], len(clocks), tmin.shape[-1] + 1))
    for k, clock in enumerate(clocks):
        if clock._warmth not in warm:
            warm[clock._warmth] = clock._warm(tmin, tmax)
        sums[..., k, 1:] = warm[clock._warmth] * clock.pace(hours)
    return ThermalTime(np.cumsum(sums, axis=-1, out=sums))
