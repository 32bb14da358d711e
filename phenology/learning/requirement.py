"""The requirement of a species for one stage: how much of each clock's time it takes, and how sure we are.

The log of a wait, read on clock c, is

    y = prior mean of the species + common offset + species offset + later-flush offset
        + slope * (how late the wait began) + tree + season + season-by-species + noise

with Gaussian effects (season effects heavy-tailed, see `SEASON_TAIL`). The variances and the clock are
integrated over an exact grid; clocks are compared in date space, through the Jacobian of each interval.
Structure and priors are ours; the parts are standard (interval-censored looks, partial pooling).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from phenology.heat.clocks import CLOCKS, USUAL_WEIGHTS, Clock
from phenology.learning.beliefs import Beliefs, PriorOf, beliefs
from phenology.learning.censoring import CensoredSites, match_sites
from phenology.learning.effect_columns import (
    CELLS,
    REFERENCE_SETTING,
    SEASONS,
    SETTINGS,
    Columns,
    Deviations,
)
from phenology.learning.effects import EffectsPosterior, Rows, Weighed, log_evidences, posterior
from phenology.learning.prediction import Prediction, mixture
from phenology.learning.waits import Wait, WaitTable, tabulate
from phenology.mathematics.distributions import digamma, gamma_quantile
from phenology.model.arrays import Array, BoolArray, IntArray
from phenology.model.errors import InputError
from phenology.model.records import Site
from phenology.weather.season_weather import SeasonThermalTime

if TYPE_CHECKING:
    from phenology.learning.club import Club

SEASON_TAIL = 4.0  # degrees of freedom of a season's effect: odd seasons happen
MOST_KEPT = 40  # grid points that stand for the whole grid


class RequirementModel:
    """Asks what a stage takes.

    Parameters
    ----------
    prior_of : callable
        Gives a species' prior: median days at 18 degC and log-scale sd.
    clocks : sequence of Clock
        Rival clocks.
    clock_weights : sequence of float, optional
        Prior weights of the clocks; `USUAL_WEIGHTS` for the usual clocks, else equal.
    temper : float, optional
        Share of the evidence that counts in the choice between clocks; by default seasons over rows, so that
        a season counts once however many trees were looked at. See `_tempered`.
    leaning : callable, optional
        Prior weights of the clocks for a wait that begins on a day of the season, where they differ from
        `clock_weights`. What the records say of the clocks is common to all days.
    club : Club, optional
        What other gardens teach of the wait, on the usual clocks.
    """

    def __init__(
        self,
        prior_of: PriorOf,
        clocks: Sequence[Clock] = CLOCKS,
        clock_weights: Sequence[float] | None = None,
        temper: float | None = None,
        leaning: Callable[[float], Sequence[float] | Array] | None = None,
        club: Club | None = None,
    ) -> None:
        if clock_weights is None:
            clock_weights = USUAL_WEIGHTS if tuple(clocks) == CLOCKS else [1.0] * len(clocks)
        weights = np.asarray(clock_weights, dtype=float)
        if len(weights) != len(clocks):
            raise InputError(f"give one weight for each of the {len(clocks)} clocks, not {len(weights)}")
        self.prior_of, self.clocks = prior_of, tuple(clocks)
        self.clock_weights, self.temper, self.leaning = weights / weights.sum(), temper, leaning
        self.club = club

    def beliefs(self, species: Sequence[str]) -> Beliefs:
        """What is believed of some species before the records speak."""
        return beliefs(species, self.prior_of, self.clocks, self.club)

    def leaned(self, anchor: float) -> Array:
        """Factor on the weight of each clock for a wait that begins on day `anchor` of the season."""
        if self.leaning is None:
            return np.ones(len(self.clocks))
        wanted = np.asarray(self.leaning(anchor), dtype=float)
        had = self.clock_weights
        return np.asarray(np.divide(wanted / wanted.sum(), had, out=np.zeros_like(had), where=had > 0))

    def fit(
        self, waits: Sequence[Wait], seasons: Mapping[tuple[Site, int], SeasonThermalTime]
    ) -> Requirement:
        """Learn from waits; with none, the answer is the prior alone.

        Parameters
        ----------
        waits : sequence of Wait
            Completed and censored waits.
        seasons : mapping
            The clocks over every (site, season) that the waits name.
        """
        columns = Columns.of(waits)
        rows = columns.rows(waits)
        rivals = np.flatnonzero(self.clock_weights)
        clocks = [self.clocks[c] for c in rivals]
        believed = self.beliefs(columns.species).on(rivals)
        kind = np.array([columns.species.index(w.species) for w in waits], dtype=np.intp)
        later = np.array([float(w.later) for w in waits])
        offset = believed.mean[:, kind] + believed.later_mean[:, None] * later
        table = tabulate(waits, seasons, self.clocks, columns.centre)
        told = {w.species for w, vague in zip(waits, table.censored, strict=True) if not vague}
        believed = believed.yielding([name in told for name in columns.species])
        known = believed.variances

        sites, squared = self._settle(table, rivals, offset, rows, columns, believed)
        odd_at = {sd: _oddness(squared, sd) for sd, _ in SEASONS}
        # a setting of the grid, by clock: spread of seasons, then of cells; the same for every noise and tree
        prior = np.stack([columns.prior_variances(clocks, sd, odd_at[sd], known) for sd, _ in SEASONS], 1)
        prior = prior.reshape(len(rivals), -1, columns.shared)
        price = np.stack([_price_of_odd_seasons(odd, columns) for odd in odd_at.values()], 1)
        value = sites.value - offset
        evidence = []
        for noise, group in itertools.groupby(SETTINGS, key=lambda s: s.noise):
            weighed = Weighed.of(rows, value, sites.variance(noise))
            for tree_sd in dict.fromkeys(s.tree for s in group):
                evidence.append(log_evidences(weighed, prior, tree_sd**2))
        scale = np.log(table.width[rivals][:, ~table.censored]).sum(1) + sites.log_scale
        scale = scale + np.log(self.clock_weights[rivals])
        at_season = np.repeat(price, len(CELLS), axis=1)
        totals = np.concatenate([e + at_season for e in evidence], axis=1) + scale[:, None]
        totals = (totals + [s.log_prior for s in SETTINGS]).ravel()

        temper = len(columns.seasons) / max(len(waits), 1) if self.temper is None else self.temper
        clock = np.repeat(rivals, len(SETTINGS))
        share = _tempered(totals, clock, self.clock_weights, temper)
        width = np.tile([s.new_season for s in SETTINGS], len(rivals))
        picked, weight = _thinned(share, np.lexsort((width, clock)))
        of, kept = picked // len(SETTINGS), [SETTINGS[k % len(SETTINGS)] for k in picked]
        noise = np.array([s.noise for s in kept])[:, None]
        own = sites.own[of] + np.where(table.censored, 0.0, noise**2)
        effects = posterior(
            Weighed.of(rows, value[of], own),
            prior[of, picked % (len(SEASONS) * len(CELLS))],
            np.array([s.tree for s in kept]) ** 2,
        )
        parts = Parts.of(weight, clock[picked], kept, effects, self.clocks)
        shares = np.bincount(clock, share, len(self.clocks)).astype(np.float64)
        return Requirement(self, columns, parts, tuple(waits), shares)

    def _settle(
        self,
        table: WaitTable,
        rivals: IntArray,
        offset: Array,
        rows: Rows,
        columns: Columns,
        believed: Beliefs,
    ) -> tuple[CensoredSites, Array]:
        """Find, at the reference setting, stand-ins for censored rows and how far each season lies out.

        The second result is the mean square of each season's effect, by clock.
        """
        sites = CensoredSites.start(table, rivals, offset)
        setting, first = REFERENCE_SETTING, columns.FIRST_SPECIES + len(columns.species)
        squared = np.full((len(rivals), len(columns.seasons)), setting.season**2)
        clocks, cell = [self.clocks[c] for c in rivals], [cell for cell, _ in CELLS].index(setting.cell)
        vague = np.flatnonzero(table.censored)
        for _ in range(5 if offset.shape[1] else 0):
            odd = _oddness(squared, setting.season)
            prior = columns.prior_variances(clocks, setting.season, odd, believed.variances)[:, cell]
            weighed = Weighed.of(rows, sites.value - offset, sites.variance(setting.noise))
            fitted = posterior(weighed, prior, setting.tree**2)
            effect = slice(first, first + len(columns.seasons))
            spread = np.diagonal(fitted.shared_covariance, axis1=-2, axis2=-1)
            squared = fitted.shared_mean[:, effect] ** 2 + spread[:, effect]
            if len(vague):
                mean, variance = fitted.of_rows(vague)
                sites = match_sites(sites, mean + offset[:, vague], variance, setting.noise)
        return sites, squared


@dataclass(frozen=True, eq=False, repr=False)
class Requirement:
    """What was learned about a stage: a posterior over clocks, variances and effects."""

    model: RequirementModel
    columns: Columns
    parts: Parts
    waits: tuple[Wait, ...]
    clock_shares: Array

    def predict(
        self, species: str, tree: str, season: int, later: bool, anchor: float, *, lean: bool = True
    ) -> Prediction:
        """The requirement of one tree in one season, seen or not, as a mixture over clocks.

        Parameters
        ----------
        species, tree : str
            Unknown names fall back on the prior and on a tree like any other.
        season : int
            A season that the fit has not seen brings its full spread.
        later : bool
            Whether a later flush is meant.
        anchor : float
            Day of the season on which the wait began.
        lean : bool
            Whether the clocks' weights lean with the season; see `RequirementModel.leaned`.
        """
        believed = self.believed(species)
        usual = self.columns.centre.get((species, later))
        parts = self.parts
        if usual is None and parts.by_date.all():
            usual = anchor  # the records leave only the date, and nobody knows it for this species
        mean, variance = parts.at(
            self.columns.row(species, season, later, anchor), self.columns.tree_index.get(tree)
        )
        if species not in self.columns.species:
            variance = variance + believed.species[parts.clock, 0]
        if season not in self.columns.seasons:
            variance = variance + parts.season * MEAN_STRETCH
        if (species, season) not in self.columns.cells:
            variance = variance + parts.cell * MEAN_STRETCH
        weight = parts.weight
        if lean and self.model.leaning is not None:
            weight = weight * self.model.leaned(anchor)[parts.clock]
        if usual is None:  # nobody knows yet when this wait usually begins
            weight = np.where(parts.by_date, 0.0, weight)
        mean = mean + (believed.mean[:, 0] + believed.later_mean * later)[parts.clock]
        return mixture(weight, parts.clock, mean, variance, math.nan if usual is None else usual)

    def believed(self, species: str) -> Beliefs:
        """What is believed of one species before the records speak."""
        if species not in self._beliefs:
            self._beliefs[species] = self.model.beliefs((species,))
        return self._beliefs[species]

    @cached_property
    def _beliefs(self) -> dict[str, Beliefs]:
        return {}

    def prior_share(self, species: str) -> float:
        """How much of what is believed about the species' mean is still prior, 1 (all) to 0 (none)."""
        believed = self.believed(species)
        if species not in self.columns.species:
            return 1.0
        row = np.zeros(self.columns.shared)
        row[0] = row[self.columns.FIRST_SPECIES + self.columns.species.index(species)] = 1.0
        before = (believed.common + believed.species[:, 0])[self.parts.clock]
        left = self.parts.effects.variance_at(row) / before
        return min(1.0, float(self.parts.weight @ left))


class Parts(NamedTuple):
    """The kept grid points as arrays, one entry a point: clocks, variances, weights and posteriors."""

    weight: Array
    clock: IntArray
    by_date: BoolArray
    own: Array
    tree: Array
    season: Array
    cell: Array
    effects: EffectsPosterior

    @classmethod
    def of(
        cls,
        weight: Array,
        clock: IntArray,
        settings: Sequence[Deviations],
        effects: EffectsPosterior,
        clocks: Sequence[Clock],
    ) -> Parts:
        by_date = np.array([clocks[c].from_usual for c in clock])
        spread = np.array([(s.noise, s.tree, s.season, s.cell) for s in settings]) ** 2
        own, tree, season, cell = spread.T
        return cls(weight, clock, by_date, own, tree, season, cell, effects)

    def at(self, row: Array, tree: int | None) -> tuple[Array, Array]:
        """Mean and variance at a design row, noise included; a tree never seen brings its spread."""
        effects, mean = self.effects, self.effects.mean_at(row)
        if tree is None:
            left, of_tree = np.broadcast_to(row, effects.shared_mean.shape), self.tree
        else:
            left = row - effects.reach[:, tree] @ effects.rows.expand[effects.rows.block[tree]]
            mean, of_tree = mean + effects.tree_mean[:, tree], 1 / effects.tree_precision[:, tree]
        at = np.flatnonzero(left.any(0))
        left = left[:, at]
        covariance = effects.shared_covariance[:, at[:, None], at]
        variance = (left[:, None, :] @ covariance @ left[:, :, None])[:, 0, 0]
        return mean, variance + self.own + of_tree


def _mean_stretch(parts: int = 3) -> float:
    """What the heavy tail of a season's effect does to its variance: its mean over equal shares of the
    inverse gamma behind a t distribution, which is finite where the whole would be dominated by its end."""
    at = (np.arange(parts) + 0.5) / parts
    gamma = [gamma_quantile(round(SEASON_TAIL / 2), 1 - p) for p in at]
    return float(np.mean([SEASON_TAIL / 2 / value for value in gamma]))


MEAN_STRETCH = _mean_stretch()


def _oddness(squared: Array, season_sd: float) -> Array:
    """Weight of each season, near 1 for a usual one and less for an odd one, where seasons differ so much."""
    return (SEASON_TAIL + 1) / (SEASON_TAIL + squared / season_sd**2)


def _price_of_odd_seasons(odd: Array, columns: Columns) -> Array:
    """What calling seasons odd costs a clock, in log evidence; `odd` of shape (clocks, seasons).

    A season's precision (relative to the setting's) has a Gamma(SEASON_TAIL / 2) prior and is given the
    Gamma distribution with mean `odd` (see `_oddness`); the fit uses that mean. What is missing from
    its evidence is the usual variational term: the mean log precision, less the divergence from the prior
    (Bishop 2006, section 10.3, from memory, unverified). Without it a clock could explain any season away.
    """
    a, shape = SEASON_TAIL / 2, (SEASON_TAIL + 1) / 2
    rate = shape / odd
    log_mean = digamma(shape) - np.log(rate)
    effects = 1 + np.array(columns.cells_of_season)
    divergence = (shape - a) * digamma(shape) - math.lgamma(shape) + math.lgamma(a)
    divergence = divergence + a * (np.log(rate) - np.log(a)) + shape * (a - rate) / rate
    return np.asarray((0.5 * effects * (log_mean - np.log(odd)) - divergence).sum(-1))


def _tempered(totals: Array, clock: IntArray, prior: Array, temper: float) -> Array:
    """Posterior shares of the grid points, the choice between clocks tempered.

    Within a clock, settings are weighed by their evidence. Between clocks only a part of it counts
    (`temper`): the rows of one season share weather and observers in ways that the effects only
    roughly describe, so the full evidence would settle on one clock after a handful of seasons.
    """
    share = np.zeros(len(totals))
    weights = {}
    for c in sorted(set(clock.tolist())):
        mine = clock == c
        top = totals[mine].max()
        within = np.exp(totals[mine] - top)
        share[mine] = within / within.sum()
        weights[c] = temper * (top + np.log(within.sum())) + (1 - temper) * np.log(prior[c])
    best = max(weights.values())
    for c, weight in weights.items():
        share[clock == c] *= np.exp(weight - best)
    return np.asarray(share / share.sum())


def _thinned(share: Array, order: IntArray) -> tuple[IntArray, Array]:
    """A few grid points that stand for all, with weights: picked at even steps through their summed shares.

    Points are walked clock by clock, from narrow to wide, so that the few keep every clock's weight and the
    spread of the whole grid; the likeliest points alone would be too sure of themselves.
    """
    steps = (np.arange(MOST_KEPT) + 0.5) / MOST_KEPT
    at = np.searchsorted(np.cumsum(share[order]), steps * share.sum())
    picked, times = np.unique(np.minimum(at, len(order) - 1), return_counts=True)
    return order[picked], times / MOST_KEPT
