"""The effects of a requirement: which stand in which column, and how large each may be.

Priors are on the log scale and ours: standard deviations between looks, trees, seasons, and seasons
within a species, each a few values with weights, the same for all species.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from phenology.heat.clocks import Clock
from phenology.learning.effects import Rows
from phenology.learning.waits import Wait
from phenology.model.arrays import Array

NOISE = ((0.05, 0.2), (0.08, 0.35), (0.12, 0.3), (0.18, 0.15))
TREES = ((0.03, 0.3), (0.06, 0.45), (0.11, 0.25))
SEASONS = ((0.05, 0.25), (0.09, 0.35), (0.15, 0.25), (0.24, 0.15))
CELLS = ((0.03, 0.5), (0.07, 0.5))
COMMON_SD = 0.15  # what all species of a garden may share against the catalogue
CALENDAR_COMMON_SD = (
    0.50  # the same for plain days and date, which the catalogue (days at 18 degC) says little of
)
LIGHT_COMMON_SD = 0.30  # the same for heat that counts by the length of the day
LATER_SD = 0.20  # a later flush against the first
YIELDS = 0.8
"""How much further than it says the catalogue may lie from a species once two looks bracket one of its waits,
on the log scale (ours): doubt costs nothing then; a wrong catalogue would otherwise pass for odd seasons."""
YIELDS_ALIKE = 0.4
"""The part of it that all species of a garden share (ours): else what is wrong with all of them at once would
still be taken for an odd season."""
FARTHEST = 8.0  # a wait does not change any more, the further it lies from its usual day [10 days], ours
SLOPE_SD = 0.03  # per 10 days that a wait begins later than usual; twice that for days and date


class Deviations(NamedTuple):
    """One point of the grid over variances: standard deviations on the log scale."""

    noise: float
    tree: float
    season: float
    cell: float
    log_prior: float

    @property
    def new_season(self) -> float:
        """Variance of a tree that was never seen, in a season that was never seen."""
        return self.noise**2 + self.tree**2 + self.season**2 + self.cell**2


SETTINGS: tuple[Deviations, ...] = tuple(
    Deviations(n, t, s, c, float(np.log(pn * pt * ps * pc)))
    for (n, pn), (t, pt), (s, ps), (c, pc) in itertools.product(NOISE, TREES, SEASONS, CELLS)
)
REFERENCE_SETTING = Deviations(0.08, 0.06, 0.09, 0.03, 0.0)


def common_sd(clock: Clock) -> float:
    """How far all species of a garden together may lie from the catalogue on a clock, on the log scale."""
    if clock.by_calendar:
        return CALENDAR_COMMON_SD
    return LIGHT_COMMON_SD if clock.by_light else COMMON_SD


@dataclass(frozen=True, eq=False, repr=False)
class Columns:
    """Which shared effect stands in which column of the design."""

    species: tuple[str, ...]
    seasons: tuple[int, ...]
    cells: tuple[tuple[str, int], ...]
    trees: tuple[str, ...]
    centre: dict[tuple[str, bool], float]

    FIRST_SPECIES = 3  # after common, later and slope

    @cached_property
    def tree_index(self) -> dict[str, int]:
        """Place of each tree among the trees."""
        return {tree: i for i, tree in enumerate(self.trees)}

    @cached_property
    def cells_of_season(self) -> list[int]:
        """How many cells each season has."""
        count = Counter(season for _, season in self.cells)
        return [count[season] for season in self.seasons]

    @property
    def shared(self) -> int:
        """Number of shared effects: common, later, slope, species, seasons, cells."""
        return self.FIRST_SPECIES + len(self.species) + len(self.seasons) + len(self.cells)

    @classmethod
    def of(cls, waits: Sequence[Wait]) -> Columns:
        """The columns that the waits need."""
        species = tuple(dict.fromkeys(w.species for w in waits))
        seasons = tuple(sorted({w.season for w in waits}))
        cells = tuple(dict.fromkeys((w.species, w.season) for w in waits))
        trees = tuple(dict.fromkeys(w.tree for w in waits))
        begun: dict[tuple[str, bool], list[float]] = {}
        for w in waits:
            begun.setdefault((w.species, w.later), []).append(w.anchor_middle)
        centre = {key: float(np.mean(days)) for key, days in begun.items()}
        return cls(species, seasons, cells, trees, centre)

    def row(self, species: str, season: int, later: bool, anchor: float) -> Array:
        """Design row of a wait; a species, season or cell that was never seen has no column."""
        row = np.zeros(self.shared)
        row[0], row[1] = 1.0, float(later)
        row[2] = self.lateness(species, later, anchor)
        base = self.FIRST_SPECIES
        for names, name in ((self.species, species), (self.seasons, season), (self.cells, (species, season))):
            if name in names:
                row[base + names.index(name)] = 1.0
            base += len(names)
        return row

    def lateness(self, species: str, later: bool, anchor: float) -> float:
        """How much later than this species' usual the wait began. [10 days]"""
        centre = self.centre.get((species, later))
        return 0.0 if centre is None else min(max((anchor - centre) / 10, -FARTHEST), FARTHEST)

    def prior_variances(
        self, clocks: Sequence[Clock], season: float, odd: Array, known: tuple[Array, Array, Array]
    ) -> Array:
        """Prior variances of the shared effects on each clock, for every spread of cells.

        Parameters
        ----------
        season : float
            Standard deviation between seasons.
        odd : ndarray, shape (clocks, seasons)
            Each season's weight: 1 usual, near 0 odd.
        known : (ndarray, ndarray, ndarray), shapes (clocks,), (clocks,) and (clocks, species)
            Variances known of beforehand: common, later, species.

        Returns
        -------
        ndarray, shape (clocks, len(CELLS), shared effects)
        """
        out = np.empty((len(clocks), len(CELLS), self.shared))
        slope = np.array([SLOPE_SD * (2 if clock.by_calendar else 1) for clock in clocks])
        base = self.FIRST_SPECIES
        common, later, species = known
        out[..., :base] = np.stack([common, later, slope**2], -1)[:, None]
        out[..., base : base + len(self.species)] = species[:, None]
        base += len(self.species)
        out[..., base : base + len(self.seasons)] = season**2 / odd[:, None]
        of_cell = np.array([self.seasons.index(s) for _, s in self.cells], dtype=np.intp)
        spread = np.array([cell for cell, _ in CELLS])[:, None] ** 2
        out[..., base + len(self.seasons) :] = spread / odd[:, None, of_cell]
        return out

    def rows(self, waits: Sequence[Wait]) -> Rows:
        """Which effects the waits answer to, species by species.

        The columns of a species are later, slope, and one a season, which stands for common, species,
        season and cell.
        """
        tree = np.array([self.tree_index[w.tree] for w in waits], dtype=np.intp)
        kind = {name: b for b, name in enumerate(self.species)}
        block = {self.tree_index[w.tree]: kind[w.species] for w in waits}
        if any(block[t] != kind[w.species] for t, w in zip(tree.tolist(), waits, strict=True)):
            # one name for trees of two species
            design = [self.row(w.species, w.season, w.later, w.anchor_middle) for w in waits]
            return Rows.plain(np.array(design), tree, len(self.trees))
        at = {season: 2 + k for k, season in enumerate(self.seasons)}
        local = np.zeros((len(waits), 2 + len(self.seasons)))
        expand = np.zeros((max(len(self.species), 1), local.shape[1], self.shared))
        expand[:, [0, 1], [1, 2]] = 1.0
        for (species, season), cell in self._cell_index.items():
            b, j = kind[species], at[season]
            expand[b, j, [0, self.FIRST_SPECIES + b, cell]] = 1.0
            expand[b, j, self.FIRST_SPECIES + len(self.species) + j - 2] = 1.0
        for i, w in enumerate(waits):
            local[i, 0], local[i, 1] = w.later, self.lateness(w.species, w.later, w.anchor_middle)
            local[i, at[w.season]] = 1.0
        return Rows(local, tree, np.array([block[t] for t in range(len(self.trees))], dtype=np.intp), expand)

    @cached_property
    def _cell_index(self) -> dict[tuple[str, int], int]:
        """The column of each cell."""
        base = self.FIRST_SPECIES + len(self.species) + len(self.seasons)
        return {cell: base + k for k, cell in enumerate(self.cells)}
