"""The curve of one wait: the chance, day by day and trace by trace, that it has ended.

What every forecast spends its time on: single precision does, draws on one clock share its reading, and the
normal curve is looked up in a table, on those days alone on which it still rises.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import Clock, ThermalTime
from phenology.learning.prediction import Prediction
from phenology.mathematics.normal_curve import normal_cdf
from phenology.model.arrays import Array, BoolArray, IntArray

FARTHEST = 5.0  # normal deviates beyond which a curve is flat: 3e-7 are left
DEVIATES = 16384  # even steps in which the normal curve is looked up: it is kept to 2e-4
LEAST_OVER = 1e-9  # a smaller chance that a wait was over by its date is none
_NOTHING = 1e-20  # stands for no time at all, whose log is taken


@dataclass(frozen=True)
class Weather:
    """What waits are read on.

    Attributes
    ----------
    thermal_time : ThermalTime
        The clocks over the possible seasons, or over one whose weather is known.
    gap_variance : ndarray, shape (days + 1,)
        Running variance of the temperature sum from filled days. [degC^2 d]
    clocks : sequence of Clock
    every : int
        Curves are computed at every so many days and run straight in between. [d]
    """

    thermal_time: ThermalTime
    gap_variance: Array
    clocks: Sequence[Clock]
    every: int

    @property
    def days(self) -> int:
        """Days of the season."""
        return self.thermal_time.days

    @property
    def traces(self) -> int:
        """Possible seasons."""
        return len(self.thermal_time.lines[0])


def wait_curves(prediction: Prediction, begun: Array, share: Array, weather: Weather) -> Array:
    """Mean over beginnings and draws of P(wait ended by day n).

    Parameters
    ----------
    prediction : Prediction
    begun : ndarray, shape (k, traces)
        Times at which the wait may have begun on each trace.
    share : ndarray, shape (k,)
        Their shares.
    weather : Weather

    Returns
    -------
    ndarray, shape (traces, days + 1)
        Quantiles lie within 0.05 days of those of a normal curve a draw.
    """
    days, traces = weather.days, weather.traces
    begins = begun < days  # a wait that begins after the last day does not end in it
    curves = np.zeros((traces, days + 1))
    if not begins.any():
        return curves
    where = np.minimum(np.maximum(begun, 0.0), days)
    at = np.append(np.arange(int(where.min()), days, weather.every), days)
    mixture = _Mixture.of(prediction, where, begins, at, weather)
    out = np.zeros((traces, len(at)))
    each = (share[:, None] * begins).astype(np.float32)
    whole = (share @ begins)[:, None]
    for k, (weight, rising) in enumerate(zip(mixture.weight, mixture.rising, strict=True)):
        if rising.start < rising.stop:
            out[:, rising] += np.einsum("kt,ktn->tn", each, mixture.ended(k, rising))
        out[:, rising.stop :] += weight * whole
    rises = slice(min(r.start for r in mixture.rising), max(r.stop for r in mixture.rising) + 1)
    np.maximum.accumulate(out[:, rises], axis=1, out=out[:, rises])
    if weather.every == 1:
        curves[:, at[0] :] = out
    else:
        everyday = np.arange(at[0], days + 1)
        below = np.minimum((everyday - at[0]) // weather.every, max(len(at) - 2, 0))
        above = np.minimum(below + 1, len(at) - 1)
        part = (everyday - at[below]) / np.maximum(at[above] - at[below], 1)
        curves[:, at[0] :] = out[:, below] * (1 - part) + out[:, above] * part
    return curves


@dataclass(frozen=True)
class _Mixture:
    """The draws of a prediction, clock by clock.

    Attributes
    ----------
    prediction : Prediction
        Its draws in the order of their clocks.
    where : ndarray, shape (k, traces)
        Times at which the wait may have begun.
    at : ndarray of int
        The days on which curves are computed.
    first : ndarray of int, shape (clocks,)
        Where the draws of each clock begin.
    origin : ndarray, shape (clocks, k, traces)
        The reading from which each clock's draws count.
    over : dict
        By clock that keeps to its date, the chance that a wait was over before it began, of shape
        (draws, k, traces); where that is no chance at all, nothing.
    filled : ndarray, shape (k, traces, len(at)), or None
        Variance of the temperature sum since the beginning, from days that were filled. [degC^2 d]
    rising : list of slice
        Where in `at` each clock's draws rise.
    """

    prediction: Prediction
    weather: Weather
    where: Array
    at: IntArray
    first: IntArray
    origin: NDArray[np.float32]
    over: dict[int, Array]
    filled: NDArray[np.float32] | None
    rising: list[slice]

    @classmethod
    def of(
        cls, prediction: Prediction, where: Array, begins: BoolArray, at: IntArray, weather: Weather
    ) -> _Mixture:
        prediction = _by_clock(prediction)
        thermal_time, gap = weather.thermal_time, weather.gap_variance
        first = np.flatnonzero(np.diff(prediction.clock, prepend=-1))
        clocks = prediction.clock[first]
        lines, trace = thermal_time.lines, np.arange(weather.traces)
        day = np.minimum(where.astype(np.intp), weather.days - 1)
        part, each = (where - day).astype(np.float32), clocks[:, None, None]
        origin = lines[each, trace, day] * (1 - part) + lines[each, trace, day + 1] * part
        filled, gaps = None, 0.0
        if gap[-1] > gap[0] and gap[-1] > (began := np.interp(where, np.arange(len(gap)), gap)).min():
            filled = np.maximum(gap[at] - began[..., None], 0.0).astype(np.float32)
            gaps = gap[-1] * np.array([weather.clocks[c].per_degree for c in prediction.clock]) ** 2
        far = FARTHEST * np.sqrt(prediction.variance + gaps)
        low = np.exp(np.minimum.reduceat(prediction.mean - far, first))
        high = np.exp(np.maximum.reduceat(prediction.mean + far, first))
        over = {}
        for k in [k for k, c in enumerate(clocks) if weather.clocks[c].from_usual]:
            # by the date some such waits are over before this one began: those take as long as usual
            origin[k] = np.atleast_2d(thermal_time.at(prediction.usual))[:, clocks[k]]
            late, mine = np.log(np.maximum(where - prediction.usual, _NOTHING)), _from(first, k)
            mean, sd = prediction.mean[mine], np.sqrt(prediction.variance[mine])
            chance = normal_cdf((late - mean[:, None, None]) / sd[:, None, None])
            if chance.max() > LEAST_OVER:
                over[k] = chance
        counted = origin[:, begins]
        since = (thermal_time.most[clocks][:, at] < (counted.min(1) + low)[:, None]).sum(1)
        until = (thermal_time.least[clocks][:, at] < (counted.max(1) + high)[:, None]).sum(1)
        for k in over:
            since[k], until[k] = 0, max(until[k], np.searchsorted(at, where[begins].max() + high[k]))
        rising = [slice(min(a, b), b) for a, b in zip(since.tolist(), until.tolist(), strict=True)]
        return cls(prediction, weather, where, at, first, origin, over, filled, rising)

    @cached_property
    def weight(self) -> Array:
        """Of each clock."""
        return np.asarray(np.add.reduceat(self.prediction.weight, self.first))

    def ended(self, k: int, rising: slice) -> NDArray[np.float32]:
        """Chance that a clock's waits have ended, by beginning, trace and day, times its weight."""
        told, days, mine = self.prediction, self.at[rising], _from(self.first, k)
        clock = told.clock[self.first[k]]
        line = self.weather.thermal_time.lines[clock]
        line = line[:, days[0] : days[-1] + 1] if self.weather.every == 1 else line[:, days]
        read = line - self.origin[k][..., None]
        np.maximum(read, np.float32(_NOTHING), out=read)
        spread = None
        if self.filled is not None:
            per_degree = np.float32(self.weather.clocks[clock].per_degree)
            spread = self.filled[..., rising] * (per_degree / np.maximum(read, 1)) ** 2
        log_read, ended = np.log(read, out=read), None
        for d, (weight, mean, variance) in enumerate(
            zip(*(values[mine].tolist() for values in (told.weight, told.mean, told.variance)), strict=True)
        ):
            if spread is None and k not in self.over:
                one = _looked_up(log_read, mean, math.sqrt(variance))
            else:
                sd = np.sqrt(np.float32(variance) if spread is None else variance + spread)
                one = normal_cdf((log_read - np.float32(mean)) / sd)
                if k in self.over:
                    one = self._or_over(one, self.over[k][d, ..., None], days, mean, sd)
            one *= np.float32(weight)
            ended = one if ended is None else ended + one
        assert ended is not None
        return ended

    def _or_over(
        self, ended: NDArray[np.float32], over: Array, days: IntArray, mean: float, sd: NDArray[np.float32]
    ) -> NDArray[np.float32]:
        """The same where a wait may have been over by its date before it began: it takes as long as usual."""
        over, since = over.astype(np.float32), days - self.where[..., None]
        again = normal_cdf((np.log(np.maximum(since, _NOTHING)).astype(np.float32) - np.float32(mean)) / sd)
        return np.asarray((np.maximum(ended - over, 0) + over * again) * (since > 0))


def _looked_up(log_read: NDArray[np.float32], mean: float, sd: float) -> NDArray[np.float32]:
    """The normal curve at log readings."""
    per_step = DEVIATES / (2 * FARTHEST * sd)
    at = log_read * np.float32(per_step)
    at += np.float32(DEVIATES / 2 - mean * per_step)
    return _normal_curve().take(at.astype(np.intp), mode="clip")


def _from(first: IntArray, k: int) -> slice:
    """The draws of a clock."""
    return slice(int(first[k]), int(first[k + 1]) if k + 1 < len(first) else None)


def _by_clock(told: Prediction) -> Prediction:
    """The same draws, those of each clock together."""
    if (np.diff(told.clock) >= 0).all():
        return told
    order = np.argsort(told.clock, kind="stable")
    return Prediction(
        told.weight[order], told.clock[order], told.mean[order], told.variance[order], told.usual
    )


@cache
def _normal_curve() -> NDArray[np.float32]:
    """The normal curve at even steps between the farthest deviates, nothing below them."""
    steps = (np.arange(DEVIATES) + 0.5) / DEVIATES
    curve = normal_cdf((2 * steps - 1) * FARTHEST).astype(np.float32)
    curve[0] = 0.0
    return curve
