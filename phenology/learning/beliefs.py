"""What is believed of waits before a garden's own looks: the catalogue, and what other gardens made of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from phenology.heat.clocks import Clock
from phenology.learning.effect_columns import LATER_SD, YIELDS, YIELDS_ALIKE, common_sd
from phenology.model.arrays import Array, BoolArray, IntArray

if TYPE_CHECKING:
    from phenology.learning.club import Club

PriorOf = Callable[[str], tuple[float, float]]
"""A species' prior: median days at 18 degC, and the log-scale sd of how far the species may lie from it."""


@dataclass(frozen=True, eq=False, repr=False)
class Beliefs:
    """Means and variances of the effects known beforehand, clock by clock, on the log scale."""

    mean: Array  # mean log days of each species' wait; shape (clocks, species)
    species: Array  # variance of its own effect; the same shape
    common: Array  # variance of what the species share; shape (clocks,), as the next two
    later_mean: Array  # mean of what a later flush takes more
    later: Array  # its variance
    by_catalogue: BoolArray  # whether only the catalogue speaks of the species; shape (species,)

    @property
    def variances(self) -> tuple[Array, Array, Array]:
        """Of what the species share, of later flushes, of each species."""
        return self.common, self.later, self.species

    def on(self, clocks: IntArray) -> Beliefs:
        """Those on some of the clocks."""
        return Beliefs(
            self.mean[clocks],
            self.species[clocks],
            self.common[clocks],
            self.later_mean[clocks],
            self.later[clocks],
            self.by_catalogue,
        )

    def yielding(self, told: Sequence[bool]) -> Beliefs:
        """The same once two looks bracket a wait of some species: the catalogue gives way, see `YIELDS`."""
        gives = self.by_catalogue & np.array(told, dtype=bool)
        shared = YIELDS_ALIKE**2 if gives.any() and self.by_catalogue.all() else 0.0
        species = self.species + np.where(gives, YIELDS**2 - shared, 0.0)
        return replace(self, species=species, common=self.common + shared)


def beliefs(
    species: Sequence[str], prior_of: PriorOf, clocks: Sequence[Clock], club: Club | None = None
) -> Beliefs:
    """The beliefs of some species; a `club` speaks of the usual clocks."""
    if club is None:
        priors = np.array([prior_of(name) for name in species]).reshape(-1, 2).T
        every = np.ones((len(clocks), 1))
        return Beliefs(
            np.log(priors[0]) * every,
            priors[1] ** 2 * every,
            np.array([common_sd(clock) ** 2 for clock in clocks]),
            np.zeros(len(clocks)),
            np.full(len(clocks), LATER_SD**2),
            np.ones(len(species), dtype=bool),
        )
    each = [club.belief(name) for name in species]
    shape = (len(species), len(clocks))
    return Beliefs(
        np.array([one.mean for one in each]).reshape(shape).T,
        np.array([one.variance for one in each]).reshape(shape).T,
        club.common,
        *club.later,
        np.array([one.catalogue == 1.0 for one in each], dtype=bool),
    )
