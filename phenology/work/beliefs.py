"""A requirement as the rules of work need it: one log-normal a clock, for work on any day of the season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from phenology.requirement import Requirement

Array = NDArray[np.float64]
IntArray = NDArray[np.intp]

ANY_TREE = ""
FARTHEST = (
    8.0  # a wait is not taken to change any more, the further it lies from its usual day [10 days], ours
)


@dataclass(frozen=True)
class Belief:
    """What one wait of a later flush takes, for any tree of a species in a season not yet over.

    Attributes
    ----------
    clock : ndarray of int, shape (k,)
        One entry a clock that has any weight.
    weight, mean, variance : ndarray, shape (k,)
        Weights, and mean and variance of the log requirement for a wait that begins as usual.
        [log days at 18 degC]
    slope, slope_variance : ndarray, shape (k,)
        What ten days' later beginning adds.
    centre : float or None
        Day on which the wait usually begins, as far as the garden knows.
    usual : float
        The same, NaN when unknown, for clocks that count from it.
    """

    clock: IntArray
    weight: Array
    mean: Array
    variance: Array
    slope: Array
    slope_variance: Array
    centre: float | None
    usual: float

    def lateness(self, began: Array) -> Array:
        """How much later than usual waits begin, within reason. [10 days]"""
        if self.centre is None:
            return np.zeros_like(began)
        return np.clip((began - self.centre) / 10, -FARTHEST, FARTHEST)


def belief(requirement: Requirement, species: str, season: int) -> Belief:
    """The belief about one wait of a later flush.

    Parameters
    ----------
    requirement : Requirement
    species : str
    season : int
        The season under way; what its other flushes showed counts.
    """
    centre = requirement.columns.centre.get((species, True))
    prediction = requirement.predict(species, ANY_TREE, season, True, centre if centre is not None else 0.0)
    rows = []
    for c in np.unique(prediction.clock):
        mine = prediction.clock == c
        weight = float(prediction.weight[mine].sum())
        share = prediction.weight[mine] / weight
        mean = float(share @ prediction.mean[mine])
        variance = float(share @ (prediction.variance[mine] + (prediction.mean[mine] - mean) ** 2))
        slope, slope_variance = _slope(requirement, int(c))
        rows.append((weight, mean, variance, slope, slope_variance))
    table = np.array(rows)
    return Belief(
        np.unique(prediction.clock),
        table[:, 0] / table[:, 0].sum(),
        table[:, 1],
        table[:, 2],
        table[:, 3],
        table[:, 4],
        centre,
        prediction.usual,
    )


def _slope(requirement: Requirement, clock: int) -> tuple[float, float]:
    """Mean and variance of what a late beginning does; none for a clock that keeps to its date."""
    if requirement.model.clocks[clock].from_usual:
        return 0.0, 0.0
    parts = [p for p in requirement.components if p.clock == clock]
    total = sum(p.weight for p in parts)
    mean = sum(p.weight * p.effects.shared_mean[2] for p in parts) / total
    square = (
        sum(p.weight * (p.effects.shared_covariance[2, 2] + p.effects.shared_mean[2] ** 2) for p in parts)
        / total
    )
    return float(mean), float(square - mean**2)
