"""When a stage arrives: a distribution over the days of a season."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phenology.model.arrays import Array

LEVELS = (0.10, 0.25, 0.50, 0.75, 0.90)


@dataclass(frozen=True, eq=False, repr=False)
class Arrival:
    """Distribution of the time at which a stage arrives.

    Quantiles come from the mixture's curve, never from averaging quantiles.
    """

    # chance that the stage has come by the end of day n, for n = 0 ... days of the season; shape (days + 1,)
    curve: Array

    @classmethod
    def over(cls, curves: Array) -> Arrival:
        """The mixture over traces; curves of shape (traces, days + 1)."""
        return cls(np.clip(curves.mean(0), 0.0, 1.0))

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
        k = int(self.curve.searchsorted(level))
        if k == 0:
            return 0.0
        below, above = self.curve[k - 1], self.curve[k]
        return float(k - 1 + (level - below) / (above - below))

    def quantiles(self, levels: Sequence[float] = LEVELS) -> tuple[float, ...]:
        """`quantile` at several levels."""
        return tuple(self.quantile(level) for level in levels)
