"""Waits: how long a tree's flush took from one stage to the next, known only between two looks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import Clock
from phenology.model.arrays import Array
from phenology.model.records import Site
from phenology.weather.season_weather import SeasonThermalTime


@dataclass(frozen=True)
class Wait:
    """One wait of one flush. Times are days of its season; intervals are (after, by].

    Attributes
    ----------
    species, tree : str
        Names; the tree's must be unique.
    season : int
        Season label.
    later : bool
        Whether the flush is a later one (woken by work, or second or more of its season).
    anchor : (float, float)
        When the wait began.
    target : (float, float)
        When it ended; `by` is `NEVER` when it had not ended by `after`, the last look.
    site : hashable
        Which weather the tree stood in; with the season it names the clocks to read.
    """

    species: str
    tree: str
    season: int
    later: bool
    anchor: tuple[float, float]
    target: tuple[float, float]
    site: Site = ""

    @property
    def anchor_middle(self) -> float:
        """Middle of the interval in which the wait began."""
        return (self.anchor[0] + self.anchor[1]) / 2


@dataclass(frozen=True)
class WaitTable:
    """Waits as each clock reads them, in log days at 18 degC.

    Attributes
    ----------
    middle : ndarray, shape (clocks, rows)
        Log reading at the middle of the target interval; NaN where the row is censored.
    width : ndarray, shape (clocks, rows)
        Width of the target interval on the log scale.
    lower, upper : ndarray, shape (clocks, rows)
        Log readings at the two ends; -inf and inf where an end is open.
    noise : ndarray, shape (clocks, rows)
        Variance from the anchor's interval and from gaps in the weather.
    censored : ndarray of bool, shape (rows,)
        Rows whose interval is open or too wide to stand at its middle.
    """

    middle: Array
    width: Array
    lower: Array
    upper: Array
    noise: Array
    censored: NDArray[np.bool_]


# Ours: an interval wider than this on the log scale is treated as a censored row, not as its middle.
WIDE = 0.6
# Ours: two stages cannot lie closer than this, so that a wait is always positive. [days at 18 degC]
LEAST_WAIT = 0.25


def tabulate(
    waits: Sequence[Wait],
    seasons: Mapping[tuple[Site, int], SeasonThermalTime],
    clocks: Sequence[Clock],
    usual: Mapping[tuple[str, bool], float] | None = None,
) -> WaitTable:
    """Read every wait on every clock.

    Parameters
    ----------
    waits : sequence of Wait
    seasons : mapping
        The clocks of each (site, season) that the waits name.
    clocks : sequence of Clock
        The clocks that the sums belong to.
    usual : mapping, optional
        For each species, and whether a later flush is meant, the day on which the wait usually begins; by
        default every wait begins as usual.
    """
    shape = (len(clocks), len(waits))
    middle, width, noise = np.full(shape, np.nan), np.full(shape, np.nan), np.zeros(shape)
    lower, upper = np.full(shape, -np.inf), np.full(shape, np.inf)
    per_degree = np.array([clock.per_degree for clock in clocks])
    from_usual = np.array([clock.from_usual for clock in clocks])
    for i, wait in enumerate(waits):
        season = seasons[wait.site, wait.season]
        start, began = wait.anchor_middle, np.array(wait.anchor)
        ended = np.maximum(wait.target, began[0])  # nothing ends before it begins
        usually = season.thermal_time.at(usual[wait.species, wait.later] if usual else start)
        origin = np.where(from_usual, usually, season.thermal_time.at(start))
        edges = season.thermal_time.at(np.append(ended[np.isfinite(ended)], began)) - origin[:, None]
        after, began_width = edges[:, 0], np.where(from_usual, 0.0, edges[:, -1] - edges[:, -2])
        if ended[0] > start:
            lower[:, i] = np.log(np.maximum(after, LEAST_WAIT))
        typical = np.maximum(after, LEAST_WAIT)
        if math.isfinite(ended[1]):
            half = (max(ended[0], start) + ended[1]) / 2
            typical = np.maximum(season.thermal_time.at(half) - origin, LEAST_WAIT)
            upper[:, i] = np.log(np.maximum(edges[:, 1], LEAST_WAIT * 1.5))
            middle[:, i] = np.log(typical)
            width[:, i] = np.maximum(edges[:, 1] - np.maximum(after, 0), LEAST_WAIT / 2) / typical
            gap_end = half
        else:
            gap_end = ended[0]
        gap = np.diff(np.interp([start, gap_end], np.arange(len(season.gap_variance)), season.gap_variance))[
            0
        ]
        noise[:, i] = began_width**2 / 12 / typical**2 + gap * per_degree**2 / typical**2
    censored = np.isnan(middle).any(0) | (width > WIDE).any(0) | np.isneginf(lower).all(0)
    return WaitTable(middle, width, lower, upper, noise, censored)
