"""The effects of a requirement: which stand in which column, and how large each may be.

Priors are on the log scale and ours: standard deviations between looks, trees, seasons, and seasons
within a species, each a few values with weights, the same for all species.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from phenology.heat.clocks import Clock
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
FARTHEST = 8.0  # a wait does not change any more, the further it lies from its usual day [10 days], ours
SLOPE_SD = 0.03  # per 10 days that a wait begins later than usual; twice that for days and date


@dataclass(frozen=True)
class Deviations:
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


@dataclass(frozen=True)
class Columns:
    """Which shared effect stands in which column of the design."""

    species: tuple[str, ...]
    seasons: tuple[int, ...]
    cells: tuple[tuple[str, int], ...]
    trees: tuple[str, ...]
    centre: dict[tuple[str, bool], float] = field(hash=False)

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
        centre: dict[tuple[str, bool], float] = {}
        for key in dict.fromkeys((w.species, w.later) for w in waits):
            centre[key] = float(np.mean([w.anchor_middle for w in waits if (w.species, w.later) == key]))
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

    def prior_variance(
        self, clock: Clock, setting: Deviations, common: float, later: float, species: Array, odd: Array
    ) -> Array:
        """Prior variances of the shared effects; `odd` holds each season's weight (1 usual, near 0 odd).

        `common`, `later` and `species` are variances of what is known of beforehand.
        """
        slope = SLOPE_SD * (2 if clock.by_calendar else 1)
        by_season = dict(zip(self.seasons, odd, strict=True))
        cells = np.array([setting.cell**2 / by_season[s] for _, s in self.cells])
        return np.concatenate(
            [
                [common, later, slope**2],
                species,
                setting.season**2 / odd,
                cells,
            ]
        )
