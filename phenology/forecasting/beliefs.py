"""A requirement as the rules of work need it: one log-normal a clock, for work on any day of the season."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from phenology.learning.requirement import TAIL, Requirement
from phenology.model.arrays import Array, IntArray

SLOPE = 2  # column of what a late beginning does; see `Columns`
FARTHEST = (
    8.0  # a wait is not taken to change any more, the further it lies from its usual day [10 days], ours
)


LONG_DAYS = 0.4
"""How much longer, on the log scale, hardening by short days takes in days of 16 hours than in its usual
day of 14 (0.2 an hour)."""


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


class Beliefs:
    """The beliefs about one wait of later flushes, species by species.

    The same mixture as `Requirement.predict` gives for an unknown tree, as the mean and variance of each
    clock; all kept grid points are taken together, which a forecast of many species needs.

    Parameters
    ----------
    requirement : Requirement
    season : int
        The season under way; what its other flushes showed counts.
    """

    def __init__(self, requirement: Requirement, season: int) -> None:
        self.requirement, self.season = requirement, season
        parts = requirement.components
        self.clock = np.array([p.clock for p in parts], dtype=np.intp)
        self.weight = np.array([p.weight for p in parts])
        self.means = np.array([p.effects.shared_mean for p in parts])
        self.covariances = np.array([p.effects.shared_covariance for p in parts])
        settings = [p.setting for p in parts]
        self.own = np.array([s.noise**2 + s.tree**2 for s in settings])
        self.between = np.array([s.season**2 for s in settings])
        self.within = np.array([s.cell**2 for s in settings])
        self.from_usual = np.array([clock.from_usual for clock in requirement.model.clocks])
        # short days hurry these clocks on; a late cut must not be made to look ripe by that, see `ripening`
        self.by_light = np.array([clock.by_light for clock in requirement.model.clocks])
        kinds = [clock.kind for clock in requirement.model.clocks]
        self.plain = kinds.index("days") if "days" in kinds else 0

    def of(self, species: str) -> Belief:
        """The belief about a species, known to the garden or not."""
        columns = self.requirement.columns
        days, own_sd = self.requirement.model.prior_of(species)
        centre = columns.centre.get((species, True))
        row = columns.row(species, self.season, True, 0.0 if centre is None else centre)
        at = np.flatnonzero(row)
        x = row[at]
        mean = np.log(days) + self.means[:, at] @ x
        variance = (self.covariances[:, at[:, None], at] @ x) @ x + self.own
        if species not in columns.species:
            variance = variance + own_sd**2
        new = np.zeros(len(variance))
        new += self.between if self.season not in columns.seasons else 0.0
        new += self.within if (species, self.season) not in columns.cells else 0.0
        variance = variance + new * sum(share * stretch for share, stretch in TAIL)
        rows = []
        # nobody knows yet when a wait that keeps to its date would usually begin
        left_out = self.by_light | self.from_usual if centre is None else self.by_light
        read_on = self.clock
        if left_out[self.clock].all():  # records that leave nothing else: read as days, as if all were long
            mean = mean + LONG_DAYS * self.by_light[self.clock]
            read_on = np.full_like(self.clock, self.plain)
            left_out = np.zeros_like(left_out)
        clocks = np.array(sorted(set(read_on[~left_out[read_on]].tolist())), dtype=np.intp)
        for c in clocks:
            mine = read_on == c
            weight = self.weight[mine].sum()
            share = self.weight[mine] / weight
            middle = share @ mean[mine]
            slope, slope_variance = self._slope(mine, share, bool(self.from_usual[c]))
            rows.append(
                (weight, middle, share @ (variance[mine] + (mean[mine] - middle) ** 2), slope, slope_variance)
            )
        table = np.array(rows)
        return Belief(
            clocks,
            table[:, 0] / table[:, 0].sum(),
            table[:, 1],
            table[:, 2],
            table[:, 3],
            table[:, 4],
            centre,
            np.nan if centre is None else centre,
        )

    def _slope(self, mine: NDArray[np.bool_], share: Array, by_date: bool) -> tuple[float, float]:
        """Mean and variance of what a late beginning does; none for a clock that keeps to its date."""
        if by_date:
            return 0.0, 0.0
        means = self.means[mine, SLOPE]
        mean = float(share @ means)
        return mean, float(share @ (self.covariances[mine, SLOPE, SLOPE] + means**2)) - mean**2


def belief(requirement: Requirement, species: str, season: int) -> Belief:
    """The belief about one wait of a later flush of one species; see `Beliefs`."""
    return Beliefs(requirement, season).of(species)
