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

WorkOut = Callable[[Sequence[int]], tuple[Array, Array]]
"""Gives, for some work days by their numbers, the odds that a cut ripens and that it wakes buds."""


class Ripening:
    """What becomes of a cut, by the day it is made; days are worked out as they are asked for.

    Odds in between lie on straight lines of their normal deviates. An earlier cut has the more time, so the
    day on which odds fall below a level is found without working out every other.

    Parameters
    ----------
    days : ndarray
        Work days of the season, rising.
    work_out : callable
    rests : ndarray or float, optional
        Chance that buds stay shut until spring, counted in both odds.
    """

    def __init__(self, days: Array, work_out: WorkOut, rests: Array | float = 0.0) -> None:
        self.days, self._work_out = days, work_out
        self._woken = np.broadcast_to(1 - np.asarray(rests), days.shape)
        self._odds = np.full((2, len(days)), np.nan)

    @property
    def ripens(self) -> Array:
        """Odds that a cut wakes growth that is hard in time, on all days."""
        return self._at(range(len(self.days)), 0)

    @property
    def wakes(self) -> Array:
        """Odds that buds break before the year's growth ends, on all days."""
        return self._at(range(len(self.days)), 1)

    def work_out(self, days: Iterable[float]) -> None:
        """Work out some of the days together, which is quicker than one by one."""
        self._at(np.flatnonzero(np.isin(self.days, [*days])).tolist())

    def _at(self, some: Sequence[int], row: int = 0) -> Array:
        missing = [k for k in some if np.isnan(self._odds[0, k])]
        if missing:
            self._odds[:, missing] = self._work_out(missing)
        return np.asarray(self._odds[row, some])

    def odds(self, day: float) -> float:
        """Odds that growth woken on a day ripens."""
        after = int(np.searchsorted(self.days, day))
        exact = after < len(self.days) and self.days[after] == day
        some = [k for k in ((after,) if exact else (after - 1, after)) if 0 <= k < len(self.days)]
        deviate = np.interp(day, self.days[some], _normal_quantile(self._at(some)))
        return float(normal_cdf(np.array([deviate]))[0]) if abs(deviate) < FARTHEST else float(deviate > 0)

    def last_day(self, required: float, *, answered: bool = False) -> float | None:
        """The last day on which a cut still ripens with the required odds; None when no day does.

        `answered` asks it of cuts whose buds do not stay shut.
        """
        return self._last(0, required, self._woken if answered else np.ones_like(self._woken))

    def rests_from(self, chance: float = 0.1) -> float | None:
        """The day from which a cut hardly wakes anything before spring; None when none is that late."""
        last = self._last(1, chance, np.ones_like(self._woken))
        if last is None:
            return float(self.days[0])
        return None if last >= self.days[-1] else last

    def _last(self, row: int, required: float, share: Array) -> float | None:
        """The last crossing of one of the odds, less a share of them, that fall with the days."""
        wanted, count = float(_normal_quantile(np.array([required]))[0]), len(self.days)
        while True:
            known = np.flatnonzero(~np.isnan(self._odds[row]))
            falling = _normal_quantile(np.minimum.accumulate(self._odds[row, known] / share[known]))
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
            self._at([k for k in dict.fromkeys(tried) if low < k < high])
        if low == -1:
            return None
        if high == count:
            return float(self.days[-1])
        part = (falling[good - 1] - wanted) / (falling[good - 1] - falling[good])
        return float(self.days[low] + part * (self.days[high] - self.days[low]))


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
    until = ThermalTime(thermal_time.sums[..., : end + 1])
    shut = np.zeros(len(days)) if rests is None else rests

    def work_out(some: Sequence[int]) -> tuple[Array, Array]:
        chains = [
            Chain((days[k], days[k]), [replace(steps[0], rests=float(shut[k])), *steps[1:]]) for k in some
        ]
        ripens, wakes = np.empty((2, len(some)))
        for n, (k, curves) in enumerate(zip(some, propagate(chains, until, clocks=clocks), strict=True)):
            ripens[n] = np.where(np.isinf(deadline), 1 - shut[k], reached_by(curves[-1], deadline)).mean()
            wakes[n] = reached_by(curves[0], ends).mean()
        return ripens, wakes

    return Ripening(days, work_out, shut)


def _normal_quantile(u: Array) -> Array:
    """Standard normal quantiles by straight lines through a fine table; held within 4 deviations."""
    curve, grid = _table()
    return np.interp(u, curve, grid)


@cache
def _table() -> tuple[Array, Array]:
    grid = np.linspace(-FARTHEST, FARTHEST, 801)
    return normal_cdf(grid), grid
