"""When a stage arrives: the chance that it has come, day by day, from draws and traces.

Every draw of the requirement on every trace gives a curve F(t); the forecast is their mixture. A look
that says "not yet" first re-weights the draws by how likely each makes it, then cuts away the past:
both happen at once in ``(F(t) - F(a)) / (1 - F(a))`` of the mixture. Quantiles come from the mixture's
curve, never from averaging quantiles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phenology.heat.clocks import Clock, ThermalTime
from phenology.learning.requirement import Prediction
from phenology.mathematics.normal_curve import normal_cdf
from phenology.model.arrays import Array

LEVELS = (0.10, 0.25, 0.50, 0.75, 0.90)


@dataclass(frozen=True)
class Arrival:
    """Distribution of the time at which a stage arrives.

    Attributes
    ----------
    curve : ndarray, shape (days + 1,)
        Chance that the stage has come by the end of day n, for n = 0 ... days of the season.
    """

    curve: Array

    @property
    def p_not(self) -> float:
        """Chance that it does not come this season."""
        return float(1 - self.curve[-1])

    def chance_by(self, t: float) -> float:
        """Chance that it has come by time `t`."""
        return float(np.interp(t, np.arange(len(self.curve)), self.curve))

    def quantile(self, level: float) -> float:
        """Time by which it has come with chance `level`; infinite beyond 1 - p_not. [day of season]"""
        if level > self.curve[-1]:
            return float("inf")
        k = int(np.searchsorted(self.curve, level, side="left"))
        if k == 0:
            return 0.0
        below, above = self.curve[k - 1], self.curve[k]
        return float(k - 1 + (level - below) / (above - below))

    def quantiles(self, levels: Sequence[float] = LEVELS) -> tuple[float, ...]:
        """`quantile` at several levels."""
        return tuple(self.quantile(level) for level in levels)

    def given_not_by(self, t: float, slip: float = 0.0) -> Arrival:
        """The distribution after a look at `t` that showed it had not come.

        Parameters
        ----------
        t : float
            Time of the look.
        slip : float
            Chance that such a look misjudged.
        """
        days = np.arange(len(self.curve))
        at = self.chance_by(t)
        kept = 1 - at
        if kept <= 1e-12:  # the looks contradict the forecast: it is due at once
            return Arrival(np.clip(days - t, 0, 1))
        cut = np.where(days <= t, 0.0, (self.curve - at) / kept)
        return Arrival(np.clip(cut, 0, 1) * (1 - slip) + slip * self.curve)


def arrival_of(
    prediction: Prediction,
    thermal_time: ThermalTime,
    anchor: float,
    *,
    clocks: Sequence[Clock],
    gap_variance: Array | None = None,
) -> Arrival:
    """The curve of one wait that began at a known time, over all draws and traces.

    Parameters
    ----------
    prediction : Prediction
        Draws of the requirement.
    thermal_time : ThermalTime
        Clocks over traces, sums of shape (traces, clocks, days + 1) or (clocks, days + 1).
    anchor : float
        When the wait began. [day of season]
    clocks : sequence of Clock
        The clocks that the sums belong to.
    gap_variance : ndarray, shape (days + 1,), optional
        Running variance from filled days. [degC^2 d]
    """
    return Arrival(
        trace_curves(prediction, thermal_time, anchor, clocks=clocks, gap_variance=gap_variance).mean(0)
    )


def trace_curves(
    prediction: Prediction,
    thermal_time: ThermalTime,
    anchor: float,
    *,
    clocks: Sequence[Clock],
    gap_variance: Array | None = None,
) -> Array:
    """As `arrival_of`, one curve a trace: shape (traces, days + 1)."""
    sums = thermal_time.sums if thermal_time.sums.ndim == 3 else thermal_time.sums[None]
    origin = ThermalTime(sums).at(anchor)
    days = np.arange(sums.shape[-1])
    out = np.zeros((len(sums), sums.shape[-1]))
    gap = (
        np.zeros(len(days))
        if gap_variance is None
        else np.maximum(gap_variance - np.interp(anchor, days, gap_variance), 0)
    )
    first = max(int(np.floor(anchor)) + 1, 0)  # a wait may have begun before the season did
    for c in sorted(set(prediction.clock.tolist())):
        mine = prediction.clock == c
        start = ThermalTime(sums[:, c]).at(prediction.usual) if clocks[c].from_usual else origin[:, c]
        read = np.maximum(sums[:, c, first:] - start[:, None], 1e-9)
        log_read = np.log(read)
        extra = gap[first:] * clocks[c].per_degree ** 2 / np.maximum(read, 1.0) ** 2
        for w, m, v in zip(
            prediction.weight[mine], prediction.mean[mine], prediction.variance[mine], strict=True
        ):
            out[:, first:] += w * normal_cdf((log_read - m) / np.sqrt(v + extra))
    return np.asarray(np.maximum.accumulate(out, axis=1))
