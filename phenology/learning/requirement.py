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
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from phenology.heat.clocks import CLOCKS, USUAL_WEIGHTS, Clock
from phenology.learning.beliefs import Beliefs, PriorOf, beliefs
from phenology.learning.censoring import CensoredSites, match_sites
from phenology.learning.club import Club
from phenology.learning.effect_columns import (
    CELLS,
    REFERENCE_SETTING,
    SEASONS,
    SETTINGS,
    Columns,
    Deviations,
)
from phenology.learning.effects import EffectsPosterior, log_evidences, posterior
from phenology.learning.prediction import Prediction, mixture
from phenology.learning.waits import Wait, WaitTable, tabulate
from phenology.mathematics.gamma_curve import digamma, gamma_quantile
from phenology.model.arrays import Array, BoolArray, IntArray
from phenology.model.errors import InputError
from phenology.model.records import Site
from phenology.weather.season_weather import SeasonThermalTime

SEASON_TAIL = 4.0  # degrees of freedom of a season's effect: odd seasons happen
MOST_KEPT = 40  # grid points that stand for the whole grid


@dataclass(frozen=True)
class Component:
    """One kept grid point: a clock and a setting, its weight and the posterior of all effects."""

    clock: int
    setting: Deviations
    weight: float
    effects: EffectsPosterior


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
        leaning: Callable[[float], Sequence[float]] | None = None,
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
        tree = np.array([columns.tree_index[w.tree] for w in waits], dtype=np.intp)
        design = np.array(
            [columns.row(w.species, w.season, w.later, w.anchor_middle) for w in waits]
        ).reshape(len(waits), columns.shared)
        believed = self.beliefs(columns.species)
        kind = np.array([columns.species.index(w.species) for w in waits], dtype=np.intp)
        later = np.array([float(w.later) for w in waits])
        offsets = believed.mean[:, kind] + believed.later_mean[:, None] * later
        table = tabulate(waits, seasons, self.clocks, columns.centre)
        told = {w.species for w, vague in zip(waits, table.censored, strict=True) if not vague}
        believed = believed.yielding([name in told for name in columns.species])

        grid: list[tuple[float, int, Deviations, CensoredSites, Array]] = []
        for c, clock in enumerate(self.clocks):
            if not self.clock_weights[c]:
                continue
            offset = offsets[c]
            sites, squared = self._settle(table, c, offset, design, tree, columns, believed)
            jacobian = float(np.log(table.width[c, ~table.censored]).sum()) + sites.log_scale
            odd_at = {sd: _oddness(squared, sd) for sd, _ in SEASONS}
            price = {sd: _price_of_odd_seasons(odd, columns) for sd, odd in odd_at.items()}
            # the same few season settings come back for every noise and tree
            prior_variance = {
                (s.season, s.cell): columns.prior_variance(clock, s, *believed.at(c), odd_at[s.season])
                for s in SETTINGS[: len(SEASONS) * len(CELLS)]
            }
            for (noise, tree_sd), group in itertools.groupby(SETTINGS, key=lambda s: (s.noise, s.tree)):
                members = list(group)
                evidence = log_evidences(
                    sites.value - offset,
                    sites.variance(noise),
                    design,
                    tree,
                    len(columns.trees),
                    np.array([prior_variance[s.season, s.cell] for s in members]),
                    tree_sd**2,
                )
                for setting, value in zip(members, evidence, strict=True):
                    total = float(value) + jacobian + setting.log_prior + float(np.log(self.clock_weights[c]))
                    total += price[setting.season]
                    grid.append((total, c, setting, sites, odd_at[setting.season]))
        totals = np.array([total for total, *_ in grid])
        temper = len(columns.seasons) / max(len(waits), 1) if self.temper is None else self.temper
        share = _tempered(totals, np.array([c for _, c, *_ in grid]), self.clock_weights, temper)
        order = sorted(range(len(grid)), key=lambda k: (grid[k][1], grid[k][2].new_season))
        components = []
        for k, weight in _thinned(share, order):
            _, c, setting, sites, odd = grid[k]
            fitted = posterior(
                sites.value - offsets[c],
                sites.variance(setting.noise),
                design,
                tree,
                len(columns.trees),
                columns.prior_variance(self.clocks[c], setting, *believed.at(c), odd),
                setting.tree**2,
            )
            components.append(Component(c, setting, weight, fitted))
        shares = np.zeros(len(self.clocks))
        for part, (_, c, *_) in zip(share, grid, strict=True):
            shares[c] += part
        return Requirement(self, columns, tuple(components), tuple(waits), shares)

    def _settle(
        self,
        table: WaitTable,
        c: int,
        offset: Array,
        design: Array,
        tree: IntArray,
        columns: Columns,
        believed: Beliefs,
    ) -> tuple[CensoredSites, Array]:
        """Find, at the reference setting, stand-ins for censored rows and how far each season lies out.

        The second result is the mean square of each season's effect.
        """
        sites = CensoredSites.start(table, c, offset)
        squared = np.full(len(columns.seasons), REFERENCE_SETTING.season**2)
        setting, first = REFERENCE_SETTING, columns.FIRST_SPECIES + len(columns.species)
        for _ in range(5 if len(offset) else 0):
            fitted = posterior(
                sites.value - offset,
                sites.variance(setting.noise),
                design,
                tree,
                len(columns.trees),
                columns.prior_variance(
                    self.clocks[c], setting, *believed.at(c), _oddness(squared, setting.season)
                ),
                setting.tree**2,
            )
            effect = slice(first, first + len(columns.seasons))
            squared = fitted.shared_mean[effect] ** 2 + np.diagonal(fitted.shared_covariance)[effect]
            if table.censored.any():
                centre = fitted.mean_at(design, tree) + offset
                spread = fitted.variance_at(design, tree)
                sites = match_sites(sites, centre, spread, setting.noise)
        return sites, squared


@dataclass(frozen=True)
class Requirement:
    """What was learned about a stage: a posterior over clocks, variances and effects."""

    model: RequirementModel
    columns: Columns
    components: tuple[Component, ...]
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
        parts = self._parts
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
        weight = parts.weight * self.model.leaned(anchor)[parts.clock] if lean else parts.weight
        if usual is None:  # nobody knows yet when this wait usually begins
            weight = np.where(parts.by_date, 0.0, weight)
        mean = mean + (believed.mean[:, 0] + believed.later_mean * later)[parts.clock]
        merged = mixture(weight, parts.clock, mean, variance)
        return merged if usual is None else replace(merged, usual=usual)

    def believed(self, species: str) -> Beliefs:
        """What is believed of one species before the records speak."""
        if species not in self._beliefs:
            self._beliefs[species] = self.model.beliefs((species,))
        return self._beliefs[species]

    @cached_property
    def _beliefs(self) -> dict[str, Beliefs]:
        return {}

    @cached_property
    def _parts(self) -> _Parts:
        return _Parts.of(self.components, self.model.clocks)

    def prior_share(self, species: str) -> float:
        """How much of what is believed about the species' mean is still prior, 1 (all) to 0 (none)."""
        believed = self.believed(species)
        if species not in self.columns.species:
            return 1.0
        row = np.zeros(self.columns.shared)
        row[0] = row[self.columns.FIRST_SPECIES + self.columns.species.index(species)] = 1.0
        left = 0.0
        for part in self.components:
            before = float(believed.common[part.clock] + believed.species[part.clock, 0])
            left += part.weight * float(part.effects.variance_at(row, None)) / before
        return min(1.0, left)


@dataclass(frozen=True)
class _Parts:
    """The kept grid points as arrays, one entry a point, so that a prediction is a few products."""

    weight: Array
    clock: IntArray
    by_date: BoolArray
    own: Array
    tree: Array
    season: Array
    cell: Array
    means: Array
    covariances: Array
    effects: tuple[EffectsPosterior, ...]

    @classmethod
    def of(cls, components: Sequence[Component], clocks: Sequence[Clock]) -> _Parts:
        settings = [part.setting for part in components]
        return cls(
            weight=np.array([part.weight for part in components]),
            clock=np.array([part.clock for part in components], dtype=np.intp),
            by_date=np.array([clocks[part.clock].from_usual for part in components]),
            own=np.array([s.noise**2 for s in settings]),
            tree=np.array([s.tree**2 for s in settings]),
            season=np.array([s.season**2 for s in settings]),
            cell=np.array([s.cell**2 for s in settings]),
            means=np.array([part.effects.shared_mean for part in components]),
            covariances=np.array([part.effects.shared_covariance for part in components]),
            effects=tuple(part.effects for part in components),
        )

    def at(self, row: Array, tree: int | None) -> tuple[Array, Array]:
        """Mean and variance at a design row, noise included; a tree never seen brings its spread."""
        mean = self.means @ row
        if tree is None:
            at = np.flatnonzero(row)
            x = row[at]
            variance = (self.covariances[:, at[:, None], at] @ x) @ x
            return mean, variance + self.own + self.tree
        left = row - np.array([effects.reach[tree] for effects in self.effects])
        variance = np.einsum("kp,kpq,kq->k", left, self.covariances, left, optimize=True)
        mean = mean + np.array([effects.tree_mean[tree] for effects in self.effects])
        return mean, variance + self.own + np.array([1 / e.tree_precision[tree] for e in self.effects])


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


def _price_of_odd_seasons(odd: Array, columns: Columns) -> float:
    """What calling seasons odd costs a clock, in log evidence.

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
    return float((0.5 * effects * (log_mean - np.log(odd)) - divergence).sum())


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


def _thinned(share: Array, order: Sequence[int]) -> list[tuple[int, float]]:
    """A few grid points that stand for all: picked at even steps through their summed shares.

    Points are walked clock by clock, from narrow to wide, so that the few keep every clock's weight and the
    spread of the whole grid; the likeliest points alone would be too sure of themselves.
    """
    steps = (np.arange(MOST_KEPT) + 0.5) / MOST_KEPT
    at = np.searchsorted(np.cumsum(share[order]), steps * share.sum())
    picked, times = np.unique(np.minimum(at, len(order) - 1), return_counts=True)
    return [(order[int(k)], float(n) / MOST_KEPT) for k, n in zip(picked, times, strict=True)]
