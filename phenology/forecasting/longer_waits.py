"""What a wait over several steps says of the stages on its way.

Where only the two ends of a longer wait are on record, it is learned at one stride, and its steps are known
from the catalogue alone. The two are combined: the stage at its end follows the longer wait, and the stages
before it, which nobody has seen, follow as far as the steps tie them to it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from phenology.model.arrays import Array

WRONG = 0.02
"""Share of what the steps say that is spread over the whole season: they may be quite wrong (ours)."""
NEARLY_NOTHING = 1e-6
"""The same of a longer wait, which records tell: only so that a look may contradict it (ours)."""
LEAST_MASS = 0.02
"""A trace on which a stage hardly comes is not moved (ours)."""


def bent(curves: Array, over: Array, steps: Array, weight: float) -> Array:
    """Curves that the steps and looks give, bent towards what a longer wait says.

    Parameters
    ----------
    curves : ndarray, shape (traces, days + 1)
        By the steps, given the looks at the stages between.
    over, steps : ndarray, same shape
        By the longer wait, and by the steps without those looks.
    weight : float
        0 leaves the curves alone; with 1 and no looks between they become the longer wait's.

    Notes
    -----
    A logarithmic opinion pool of the two densities (Genest and Zidek 1986, Statistical Science 1(1), from
    memory, unverified): it takes two statements that may rest on the same records as no more than either of
    them. Each trace keeps its weight.
    """
    given, alone = _density(curves, WRONG), _density(steps, WRONG)
    now = given * (_density(over, NEARLY_NOTHING) / alone) ** weight
    now *= np.maximum(curves[:, -1:], 1.0) / now.sum(1, keepdims=True)
    return np.asarray(np.cumsum(now[:, :-1], axis=1))


def _density(curves: Array, spread: float) -> Array:
    """Density over the days and, last, beyond the season, a share of it spread evenly; rows sum to 1."""
    came = np.diff(curves, axis=1, prepend=0.0)
    total = np.maximum(curves[:, -1:], 1.0)  # looks may have made a trace likelier than others
    density = np.concatenate([came, total - curves[:, -1:]], axis=1) / total
    return np.asarray((1 - spread) * density + spread / density.shape[1])


def moments(curves: Array) -> tuple[Array, Array]:
    """Mean and variance of each curve's arrival within the season, shape (traces,). [day, day^2]"""
    came = np.diff(curves, axis=1)
    days = np.arange(came.shape[1]) + 0.5
    total = np.maximum(came.sum(1), 1e-12)
    mean = came @ days / total
    return mean, np.maximum(came @ days**2 / total - mean**2, 0.25)


class Move(NamedTuple):
    """How far a stage was moved on each trace."""

    by: Array  # [d]; shape (traces,)
    variance: Array  # of the stage before it was moved. [d^2]; shape (traces,)
    left: Array  # share of that variance that is left; shape (traces,)

    @classmethod
    def between(cls, before: Array, after: Array) -> Move:
        """From the curves before to those after."""
        (mean, variance), (mean_after, variance_after) = moments(before), moments(after)
        comes = (before[:, -1] > LEAST_MASS) & (after[:, -1] > LEAST_MASS)
        left = np.minimum(variance_after / variance, 1.0)
        return cls(np.where(comes, mean_after - mean, 0.0), variance, np.where(comes, left, 1.0))

    def then(self, other: Move) -> Move:
        """This move and another after it."""
        return Move(self.by + other.by, self.variance, self.left * other.left)

    def carried_back(self, earlier: Array, slope: Array) -> Move:
        """What the move of a stage means for the stage before it: one step of a Rauch-Tung-Striebel smoother.

        Parameters
        ----------
        earlier : ndarray, shape (traces, days + 1)
            Curves of the stage before.
        slope : ndarray, shape (traces,)
            Days by which the later stage moves for each day that the earlier one moves.
        """
        _, variance = moments(earlier)
        gain = np.minimum(slope * variance / self.variance, 1.0)
        left = 1 - gain**2 * self.variance * (1 - self.left) / variance
        return Move(gain * self.by, variance, np.clip(left, 0.05, 1.0))

    def applied(self, curves: Array, not_before: float) -> Array:
        """Curves moved and narrowed, on each trace about its own mean."""
        mean, _ = moments(curves)
        days = np.arange(curves.shape[1], dtype=float)
        out = np.array(
            [
                np.interp(m + (days - m - by) / np.sqrt(left), days, curve)
                for curve, m, by, left in zip(curves, mean, self.by, self.left, strict=True)
            ]
        )
        out[:, days <= not_before] = 0.0
        return out
