"""The odds that growth woken by a cut ripens: the waits after work, from many days of work.

The one propagation of `phenology.forecasting.propagation`, asked from each day on what has become of the
flush by each trace's own deadline.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from functools import cache

import numpy as np

from phenology.forecasting.propagation import Chain, Step, propagate, reached_by
from phenology.heat.clocks import CLOCKS, Clock, ThermalTime
from phenology.mathematics.distributions import normal_cdf
from phenology.model.arrays import Array

FARTHEST = 4.0  # normal deviates beyond this count as certain
NEXT = (1, 2, 4)  # where beyond the days worked out so far a crossing is looked for (ours)

WorkOut = Callable[[Sequence[int]], Array]
"""Gives the odds of some work days, by their numbers."""


class FallingOdds:
    """Odds that fall with the day of work, worked out on the days that are asked about.

    In between they lie on straight lines of their normal deviates. Since they fall, the day on which they
    come below a level is found without working out every other.
    """

    def __init__(self, days: Array, work_out: WorkOut) -> None:
        self._days, self._work_out = days, work_out
        self._known = np.full(len(days), np.nan)

    def at(self, some: Sequence[int]) -> Array:
        """The odds of some days."""
        missing = [k for k in some if np.isnan(self._known[k])]
        if missing:
            self._known[missing] = self._work_out(missing)
        return np.asarray(self._known[some])

    def on(self, day: float) -> float:
        """The odds on any day."""
        after = int(np.searchsorted(self._days, day))
        exact = after < len(self._days) and self._days[after] == day
        some = [k for k in ((after,) if exact else (after - 1, after)) if 0 <= k < len(self._days)]
        deviate = np.interp(day, self._days[some], _normal_quantile(self.at(some)))
        return float(normal_cdf(np.array([deviate]))[0]) if abs(deviate) < FARTHEST else float(deviate > 0)

    def last(self, required: float, share: Array) -> float | None:
        """The last day on which the odds, over a share of all cuts, reach a level; None when none does."""
        wanted, count = float(_normal_quantile(np.array([required]))[0]), len(self._days)
        while True:
            known = np.flatnonzero(~np.isnan(self._known))
            falling = _normal_quantile(np.minimum.accumulate(self._known[known] / share[known]))
            good = int((falling >= wanted).sum())
            low = int(known[good - 1]) if good else -1
            high = int(known[good]) if good < len(known) else count
            if high - low == 1:
                break
            if high == count:
                tried = [low + step for step in NEXT]
            elif low == -1:
                tried = [high - step for step in NEXT]
            else:
                tried = np.linspace(low, high, len(NEXT) + 2)[1:-1].astype(int).tolist()
            self.at([k for k in dict.fromkeys(tried) if low < k < high])
        if low == -1:
            return None
        if high == count:
            return float(self._days[-1])
        part = (falling[good - 1] - wanted) / (falling[good - 1] - falling[good])
        return float(self._days[low] + part * (self._days[high] - self._days[low]))


class Ripening:
    """What becomes of a cut, by the day it is made.

    Parameters
    ----------
    days : ndarray
        Work days of the season, rising.
    ripens, wakes : callable
        Odds that it wakes growth that is hard in time, and that buds break before the year's growth ends.
    rests : ndarray or float, optional
        Chance that buds stay shut until spring, counted in both odds.
    """

    def __init__(self, days: Array, ripens: WorkOut, wakes: WorkOut, rests: Array | float = 0.0) -> None:
        self.days, self._woken = days, np.broadcast_to(1 - np.asarray(rests), days.shape)
        self._ripens, self._wakes = FallingOdds(days, ripens), FallingOdds(days, wakes)

    @property
    def ripens(self) -> Array:
        """Odds that a cut wakes growth that is hard in time, on all days."""
        return self._ripens.at(range(len(self.days)))

    @property
    def wakes(self) -> Array:
        """Odds that buds break before the year's growth ends, on all days."""
        return self._wakes.at(range(len(self.days)))

    def work_out(self, days: Iterable[float]) -> None:
        """Work out some of the days together, which is quicker than one by one."""
        self._ripens.at(np.flatnonzero(np.isin(self.days, [*days])).tolist())

    def odds(self, day: float) -> float:
        """Odds that growth woken on a day ripens."""
        return self._ripens.on(day)

    def last_day(self, required: float, *, answered: bool = False) -> float | None:
        """The last day on which a cut still ripens with the required odds; None when no day does.

        `answered` asks it of cuts whose buds do not stay shut.
        """
        return self._ripens.last(required, self._woken if answered else np.ones_like(self._woken))

    def only_rests(self, day: float, chance: float = 0.1) -> bool:
        """Whether a cut on a day hardly wakes anything before spring; what ripens has woken."""
        return self.odds(day) <= chance and self._wakes.on(day) <= chance


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
    """The odds for a run of work days, worked out as they are asked for.

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
    until = thermal_time.until(end)
    shut = np.zeros(len(days)) if rests is None else rests

    def curves(some: Sequence[int], steps: Sequence[Step]) -> list[Array]:
        """Of the last of some steps."""
        chains = [
            Chain((days[k], days[k]), [replace(steps[0], rests=float(shut[k])), *steps[1:]]) for k in some
        ]
        return [found[-1] for found in propagate(chains, until, clocks=clocks)]

    def ripens(some: Sequence[int]) -> Array:
        never, by = np.isinf(deadline), [reached_by(curve, deadline) for curve in curves(some, steps)]
        return np.array([np.where(never, 1 - shut[k], odds).mean() for k, odds in zip(some, by, strict=True)])

    def wakes(some: Sequence[int]) -> Array:
        return np.array([reached_by(curve, ends).mean() for curve in curves(some, steps[:1])])

    return Ripening(days, ripens, wakes, shut)


def _normal_quantile(u: Array) -> Array:
    """Standard normal quantiles by straight lines through a fine table; held within 4 deviations."""
    curve, grid = _table()
    return np.interp(u, curve, grid)


@cache
def _table() -> tuple[Array, Array]:
    grid = np.linspace(-FARTHEST, FARTHEST, 801)
    return normal_cdf(grid), grid
