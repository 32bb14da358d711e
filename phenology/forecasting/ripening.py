"""The odds that growth woken by a cut ripens: the chain of waits, from many days of work, on every trace.

The forecast follows one flush day by day; here only one thing is asked of each trace, whether the leaves are
hard by its own deadline, and it is asked for a whole season of work days at once. Bud break and the end of
lengthening are drawn from evenly spread numbers, another set on each trace; the last wait is exact.

A wait that keeps to its date is given no help by it: where it begins later than usual its length counts from
the day it began, so that a late cut is never made to look ripe by the calendar. Asked early, it may end no
sooner than its date. (The forecast of a flush that was really woken does let the date speak.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from phenology.forecasting.beliefs import Belief
from phenology.heat.clocks import CLOCKS, Clock, ThermalTime
from phenology.mathematics.normal_curve import normal_cdf
from phenology.model.arrays import Array, IntArray

DRAWS = 16  # evenly spread draws on each trace (ours; the tests hold the odds to 2 in 100)
FARTHEST = 4.0  # normal deviates beyond this count as certain
# Kronecker sequence on the powers of the root of x^6 = x + 1: evenly spread in five dimensions (derived)
_STEPS = 1.1347241384015194 ** -np.arange(1.0, 6.0)


@dataclass(frozen=True)
class Ripening:
    """What becomes of a cut, by the day it is made.

    Attributes
    ----------
    days : ndarray
        Work days of the season, rising; odds in between lie on straight lines of their normal deviates.
    ripens : ndarray
        Odds that what it wakes is hard in time.
    wakes : ndarray
        Odds that buds break before the year's growth ends.
    """

    days: Array
    ripens: Array
    wakes: Array

    def odds(self, day: float) -> float:
        """Odds that growth woken on a day ripens."""
        deviate = np.interp(day, self.days, _normal_quantile(self.ripens))
        return float(normal_cdf(np.array([deviate]))[0]) if abs(deviate) < FARTHEST else float(deviate > 0)

    def last_day(self, required: float) -> float | None:
        """The last day on which a cut still ripens with the required odds; None when no day does."""
        return _last(self.days, self.ripens, required)

    def rests_from(self, chance: float = 0.1) -> float | None:
        """The day from which a cut hardly wakes anything before spring; None when none is that late."""
        last = _last(self.days, self.wakes, chance)
        if last is None:
            return float(self.days[0])
        return None if last >= self.days[-1] else last


def _last(days: Array, odds: Array, required: float) -> float | None:
    """The last crossing of a curve that falls."""
    falling = _normal_quantile(np.minimum.accumulate(odds))
    wanted = float(_normal_quantile(np.array([required]))[0])
    good = np.flatnonzero(falling >= wanted)
    if not len(good):
        return None
    k = int(good[-1])
    if k == len(days) - 1:
        return float(days[-1])
    part = (falling[k] - wanted) / (falling[k] - falling[k + 1])
    return float(days[k] + part * (days[k + 1] - days[k]))


def ripening(
    steps: Sequence[Belief],
    thermal_time: ThermalTime,
    days: Array,
    deadline: Array,
    ends: Array,
    clocks: Sequence[Clock] = CLOCKS,
    draws: int = DRAWS,
) -> Ripening:
    """The odds for a run of work days.

    Parameters
    ----------
    steps : sequence of Belief
        Work to bud break, bud break to extended, extended to hardened.
    thermal_time : ThermalTime
        The clocks over the traces, sums of shape (traces, clocks, days + 1).
    days : ndarray, shape (k,)
        Candidate work days of the season, rising.
    deadline : ndarray, shape (traces,)
        Day by which leaves must be hard on each trace; infinite where nothing ends growth.
    ends : ndarray, shape (traces,)
        Day on which growth ends on each trace, for what a cut still wakes.
    """
    first, second, third = steps
    traces = len(thermal_time.sums)
    spread = _spread(traces, draws)
    z1, z2 = (_normal_quantile(spread[k]) for k in (0, 1))
    at = np.broadcast_to(days[None, :, None], (traces, len(days), draws))
    reader = _Reader(thermal_time, clocks)
    broken = reader.after(at, first, _picked(first, spread[2]), z1)
    grown = reader.after(broken, second, _picked(second, spread[3]), z2)
    ripe = reader.chance(grown, third, _picked(third, spread[4]), deadline)
    woken = (broken <= ends[:, None, None]) & np.isfinite(broken)
    return Ripening(days, ripe.mean((0, 2)), woken.mean((0, 2)))


class _Reader:
    """Reads many times at once on the clocks of every trace."""

    def __init__(self, thermal_time: ThermalTime, clocks: Sequence[Clock]) -> None:
        self.sums, self.clocks, self.days = thermal_time.sums, clocks, thermal_time.days
        self.traces, self.count = thermal_time.sums.shape[:2]
        # one rising line of all clocks on all traces, so that one search serves them all
        self.gap = float(thermal_time.sums[..., -1].max()) + 1e4
        lift = self.gap * np.arange(self.traces * self.count)
        self.line = (thermal_time.sums.reshape(-1, self.days + 1) + lift[:, None]).ravel()
        self.from_usual = np.array([clock.from_usual for clock in clocks])

    def after(self, began: Array, step: Belief, pick: IntArray, z: Array) -> Array:
        """When a wait ends that began at `began`; past the last day: infinite. Shape (traces, k, draws)."""
        start, row, mean, sd = self._stand(began, step, pick)
        wanted = self._read(row, start) + np.exp(mean + z[:, None, :] * sd) + row * self.gap
        base = row * (self.days + 1)
        high = np.searchsorted(self.line, wanted)
        past = (high > base + self.days) | ~np.isfinite(began)
        high = np.clip(high, base + 1, base + self.days)
        below = self.line[high - 1]
        part = (wanted - below) / np.maximum(self.line[high] - below, 1e-12)
        return np.where(past, np.inf, high - 1 - base + part)

    def chance(self, began: Array, step: Belief, pick: IntArray, deadline: Array) -> Array:
        """Chance that a wait that began at `began` has ended by each trace's deadline."""
        start, row, mean, sd = self._stand(began, step, pick)
        by = np.broadcast_to(deadline[:, None, None], began.shape)
        read = self._read(row, by) - self._read(row, start)
        open_end = np.isinf(by)
        possible = np.isfinite(began) & (read > 0) & ~open_end
        z = np.where(possible, (np.log(np.where(possible, read, 1.0)) - mean) / sd, -np.inf)
        return np.where(open_end, 1.0, normal_cdf(z))

    def _stand(self, began: Array, step: Belief, pick: IntArray) -> tuple[Array, IntArray, Array, Array]:
        """Where each wait counts from, the line it is read on, and its log requirement's mean and sd."""
        row = np.arange(self.traces)[:, None, None] * self.count + step.clock[pick][:, None, :]
        date = self.from_usual[step.clock[pick]][:, None, :] & np.isfinite(step.usual)
        start = np.where(date, np.maximum(began, step.usual), began)
        late = step.lateness(began)
        mean = step.mean[pick][:, None, :] + step.slope[pick][:, None, :] * late
        variance = step.variance[pick][:, None, :] + step.slope_variance[pick][:, None, :] * late**2
        return start, row, mean, np.sqrt(variance)

    def _read(self, row: IntArray, t: Array) -> Array:
        """Readings of one clock on one trace at each time, held at the two ends."""
        where = np.clip(t, 0, self.days)
        low = np.minimum(where.astype(np.intp), self.days - 1)
        flat = row * (self.days + 1) + low
        below = self.line[flat]
        return np.asarray(below + (where - low) * (self.line[flat + 1] - below) - row * self.gap)


def _spread(traces: int, draws: int) -> Array:
    """Evenly spread numbers in (0, 1), shape (5, traces, draws), another set on each trace."""
    index = np.arange(1.0, traces * draws + 1).reshape(draws, traces).T
    return np.asarray((0.5 + index[None] * _STEPS[:, None, None]) % 1.0)


def _picked(step: Belief, u: Array) -> IntArray:
    """Which draw of a mixture each number stands for."""
    return np.minimum(np.searchsorted(np.cumsum(step.weight), u), len(step.weight) - 1)


def _normal_quantile(u: Array) -> Array:
    """Standard normal quantiles by straight lines through a fine table; held within 4 deviations."""
    curve, grid = _table()
    return np.interp(u, curve, grid)


@cache
def _table() -> tuple[Array, Array]:
    grid = np.linspace(-FARTHEST, FARTHEST, 801)
    return normal_cdf(grid), grid
