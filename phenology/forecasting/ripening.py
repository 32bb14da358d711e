"""The odds that growth woken by a cut ripens: the waits after work, from many days of work.

The one propagation of `phenology.forecasting.propagation`, asked from each day on what has become of the
flush by each trace's own deadline.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from phenology.forecasting.propagation import Chain, Step, propagate, reached_by
from phenology.heat.clocks import CLOCKS, Clock, ThermalTime
from phenology.mathematics.distributions import normal_cdf
from phenology.model.arrays import Array

CERTAIN = 0.99995  # odds from which on an earlier day is not asked (ours)
TOGETHER = 8  # so many work days go through at once, the latest first (ours)
FARTHEST = 4.0  # normal deviates beyond this count as certain


@dataclass(frozen=True)
class Ripening:
    """What becomes of a cut, by the day it is made."""

    # work days of the season, rising; odds in between lie on straight lines of their normal deviates
    days: Array
    ripens: Array  # odds that it wakes growth that is hard in time
    wakes: Array  # odds that buds break before the year's growth ends
    rests: Array | float = 0.0  # chance that buds stay shut until spring, counted in both

    def answered(self) -> Ripening:
        """The same of cuts whose buds do not stay shut."""
        woken = 1 - self.rests
        return Ripening(self.days, self.ripens / woken, self.wakes / woken)

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
    steps: Sequence[Step],
    thermal_time: ThermalTime,
    days: Array,
    deadline: Array,
    ends: Array,
    rests: Array | None = None,
    *,
    clocks: Sequence[Clock] = CLOCKS,
) -> Ripening:
    """The odds for a run of work days.

    Parameters
    ----------
    steps : sequence of Step
        Work to bud break, and on to hardened; see `phenology.forecasting.propagation`.
    thermal_time : ThermalTime
        The clocks over the traces, sums of shape (traces, clocks, days + 1).
    days : ndarray, shape (k,)
        Candidate work days of the season, rising.
    deadline : ndarray, shape (traces,)
        Day by which leaves must be hard on each trace; infinite where nothing ends growth.
    ends : ndarray, shape (traces,)
        Day on which growth ends on each trace, for what a cut still wakes.
    rests : ndarray, shape (k,), optional
        For each work day the chance that buds stay shut until spring; by default they never do.
    """
    asked = np.concatenate([deadline, ends])
    end = int(np.ceil(max([days[-1] + 1, *asked[np.isfinite(asked)]])))  # nobody asks what comes after
    until = ThermalTime(thermal_time.sums[..., : end + 1])
    shut = np.zeros(len(days)) if rests is None else rests
    ripens, wakes = 1 - shut, 1 - shut
    for last in range(len(days), 0, -TOGETHER):
        some = range(max(0, last - TOGETHER), last)
        chains = [
            Chain((days[k], days[k]), [replace(steps[0], rests=float(shut[k])), *steps[1:]]) for k in some
        ]
        for k, curves in zip(some, propagate(chains, until, clocks=clocks), strict=True):
            ripens[k] = np.where(np.isinf(deadline), 1 - shut[k], reached_by(curves[-1], deadline)).mean()
            wakes[k] = reached_by(curves[0], ends).mean()
        if ripens[some[0]] > CERTAIN * (1 - shut[some[0]]):
            break  # an earlier cut has the more time
    return Ripening(days, ripens, wakes, shut)


def _normal_quantile(u: Array) -> Array:
    """Standard normal quantiles by straight lines through a fine table; held within 4 deviations."""
    curve, grid = _table()
    return np.interp(u, curve, grid)


@cache
def _table() -> tuple[Array, Array]:
    grid = np.linspace(-FARTHEST, FARTHEST, 801)
    return normal_cdf(grid), grid
