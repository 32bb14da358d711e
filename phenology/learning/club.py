"""What other gardens' calibrations make of the catalogue's priors: a meta-analysis, gardens a random effect.

On each clock the log of a species' wait in garden g is ``mu + delta + gamma_g``: the catalogue's median, how
far the species lies from it, and how far gardens differ. What garden g's looks say is that sum with a known
variance. The spread of gardens is integrated over a small grid, weighed by how well gardens agree on all
species of the step; a garden in another climate may lie further off. Normal-normal random effects are
standard (DerSimonian and Laird 1986, from memory, unverified); the priors and the measure of climates ours.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from phenology.heat.clocks import CLOCKS
from phenology.learning.effect_columns import LATER_SD, YIELDS, common_sd
from phenology.model.arrays import Array
from phenology.model.shared_calibration import Reading, SharedCalibration, SharedClimate, SharedStep

GARDENS = ((0.05, 0.25), (0.10, 0.40), (0.17, 0.25), (0.30, 0.10))
"""Spread between gardens of one climate, on the log scale, and what each value is believed (ours)."""
HEAT_DRIFT, CALENDAR_DRIFT = 0.08, 0.30
"""How much further a garden may lie off for each step of `unlikeness`, on clocks of warmth and on others."""
WARMEST_C, COLDEST_C, DEGREES = 4.0, 8.0, 8.0
"""One step between climates, in the warmest and coldest time of year and in latitude (ours)."""
COMMON_SHARE = 0.5
"""Share of the spread of gardens that all species of a garden share (ours)."""
NONE = 1e-6  # variance of an effect that another holds already
EVIDENCE = 0.5
"""How far another garden's choice between clocks counts beside one's own, in a like climate (ours)."""


def unlikeness(one: SharedClimate, other: SharedClimate) -> float:
    """How far two climates lie apart: 0 alike, 1 hardly alike."""
    steps = (
        (one.warmest - other.warmest) / WARMEST_C,
        (one.coldest - other.coldest) / COLDEST_C,
        (abs(one.latitude) - abs(other.latitude)) / DEGREES,
    )
    return float(np.sqrt(np.square(steps).sum()))


@dataclass(frozen=True)
class _Told:
    """What gardens say of one quantity on each clock, NaN for nothing; shape (gardens, clocks)."""

    value: Array
    variance: Array

    @classmethod
    def of(cls, told: Sequence[dict[str, Reading]], far: Array) -> _Told:
        nothing = Reading(np.nan, np.nan)
        rows = [[one.get(clock.name, nothing) for clock in CLOCKS] for one in told]
        value = np.array([[r.log for r in row] for row in rows]).reshape(len(rows), len(CLOCKS))
        sd = np.array([[r.sd for r in row] for row in rows]).reshape(value.shape)
        drift = np.array([CALENDAR_DRIFT if clock.by_calendar else HEAT_DRIFT for clock in CLOCKS])
        return cls(value, sd**2 + (far[:, None] * drift) ** 2)

    def given(self, mean: Array, variance: Array, between: float) -> tuple[Array, Array, Array]:
        """Mean and variance of what gardens vary about, and the log density of all that was said.

        `mean` and `variance` are the prior's, on each clock; `between` is the variance of gardens.
        """
        said = np.isfinite(self.value)
        spread = np.where(said, self.variance, 1.0) + between
        weight = np.where(said, 1 / spread, 0.0)
        apart = np.where(said, self.value - mean, 0.0)
        precision, score = weight.sum(0), (weight * apart).sum(0)
        left = 1 / (1 / variance + precision)
        density = -0.5 * (
            (np.where(said, np.log(spread), 0.0)).sum(0)
            + np.log(variance / left)
            + (weight * apart**2).sum(0)
            - left * score**2
        )
        return mean + left * score, left, density


@dataclass(frozen=True)
class SpeciesBelief:
    """A species' wait in this garden before its own looks, on each clock. [log days at 18 degC]"""

    mean: Array  # without what all species of the garden share; shape (clocks,)
    variance: Array
    catalogue: float  # share of the catalogue in it, 1 to 0


class Club:
    """What other gardens teach of one step.

    Parameters
    ----------
    climate : SharedClimate
        Of the garden that learns.
    prior_of : callable
        A species' median days at 18 degC and log-scale sd, as the catalogue has them.
    all_later : bool
        Whether only later flushes take the step, so that what sets them apart is part of the wait itself.
    """

    def __init__(
        self,
        steps: Sequence[tuple[SharedCalibration, SharedStep]],
        climate: SharedClimate,
        prior_of: Callable[[str], tuple[float, float]],
        all_later: bool,
    ) -> None:
        self._steps, self._prior_of = [step for _, step in steps], prior_of
        self._all_later = all_later
        self._catalogue_common = np.array([common_sd(clock) ** 2 for clock in CLOCKS])
        self._far = np.array([unlikeness(one.climate, climate) for one, _ in steps])

    @cached_property
    def species(self) -> tuple[str, ...]:
        """The species that the gardens speak of."""
        return tuple(dict.fromkeys(wait.species for step in self._steps for wait in step.waits))

    @cached_property
    def _told(self) -> dict[str, _Told]:
        found = {}
        for name in self.species:
            mine = [
                (dict(wait.readings), far)
                for step, far in zip(self._steps, self._far, strict=True)
                for wait in step.waits
                if wait.species == name
            ]
            found[name] = _Told.of([told for told, _ in mine], np.array([far for _, far in mine]))
        return found

    def _prior(self, species: str) -> tuple[Array, Array]:
        days, sd = self._prior_of(species)
        shared = self._catalogue_common + (LATER_SD**2 if self._all_later else 0.0)
        return np.full(len(CLOCKS), np.log(days)), sd**2 + YIELDS**2 + shared

    @cached_property
    def between(self) -> Array:
        """What each spread of `GARDENS` is believed, on each clock; shape (spreads, clocks).

        Three gardens say something of it; with fewer it stays as believed beforehand.
        """
        log = np.log([share for _, share in GARDENS])[:, None] + np.zeros(len(CLOCKS))
        for name, told in self._told.items():
            enough = np.isfinite(told.value).sum(0) >= 3
            for k, (sd, _) in enumerate(GARDENS):
                log[k] += np.where(enough, told.given(*self._prior(name), sd**2)[2], 0.0)
        share = np.exp(log - log.max(0))
        return np.asarray(share / share.sum(0))

    @cached_property
    def garden_variance(self) -> Array:
        """Variance between gardens of one climate, on each clock."""
        return np.asarray(np.square([sd for sd, _ in GARDENS]) @ self.between)

    @cached_property
    def common(self) -> Array:
        """Variance of what all species of this garden share, on each clock."""
        return np.asarray(np.minimum(self._catalogue_common, COMMON_SHARE * self.garden_variance))

    def belief(self, species: str) -> SpeciesBelief:
        """What is believed of a species; what the catalogue says where no garden speaks of it."""
        days, sd = self._prior_of(species)
        if species not in self._told:
            rest = self._catalogue_common - self.common + (LATER_SD**2 if self._all_later else 0.0)
            return SpeciesBelief(np.full(len(CLOCKS), np.log(days)), sd**2 + rest, 1.0)
        mean, variance = self._prior(species)
        parts = [self._told[species].given(mean, variance, s**2)[:2] for s, _ in GARDENS]
        means, left = (np.array(values) for values in zip(*parts, strict=True))
        middle = (self.between * means).sum(0)
        spread = (self.between * (left + (means - middle) ** 2)).sum(0) + self.garden_variance
        silent = ~np.isfinite(self._told[species].value).any(0)
        spread = np.where(silent, spread - YIELDS**2, spread)
        share = float(np.mean(((self.between * left).sum(0) / variance)[~silent]))
        return SpeciesBelief(middle, spread - self.common, share)

    def weights(self, species: str) -> list[float]:
        """How far each garden that speaks of a species counts, all together 1; the mean over clocks."""
        told = self._told[species]
        said = np.isfinite(told.value)
        weight = np.where(said, 1 / (np.where(said, told.variance, 1.0) + self.garden_variance), 0.0)
        share = (weight / np.maximum(weight.sum(0), NONE))[:, said.any(0)]
        return [float(mean) for mean in share.mean(1)]

    @cached_property
    def later(self) -> tuple[Array, Array]:
        """Mean and variance of the log ratio of a later flush to the first, on each clock."""
        told = [
            (dict(step.later), far) for step, far in zip(self._steps, self._far, strict=True) if step.later
        ]
        nothing = np.zeros(len(CLOCKS)), np.full(len(CLOCKS), LATER_SD**2)
        if self._all_later:
            return nothing[0], np.full(len(CLOCKS), NONE)
        if not told:
            return nothing
        found = _Told.of([one for one, _ in told], np.array([far for _, far in told]))
        mean, left, _ = found.given(*nothing, LATER_SD**2 / 4)
        return mean, np.minimum(left + LATER_SD**2 / 4, LATER_SD**2)

    @cached_property
    def clock_factors(self) -> Array:
        """Factor on what each clock is held for beforehand."""
        log = np.zeros(len(CLOCKS))
        for step, far in zip(self._steps, self._far, strict=True):
            log += EVIDENCE / (1 + far**2) * np.log([step.clocks.get(clock.name, 1.0) for clock in CLOCKS])
        return np.asarray(np.exp(log - log.max()))
