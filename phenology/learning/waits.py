"""Waits: how long a tree's flush took from one stage to the next, known only between two looks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import Clock
from phenology.model.arrays import Array
from phenology.model.records import Site
from phenology.weather.season_weather import SeasonThermalTime


class Wait(NamedTuple):
    """One wait of one flush. Times are days of its season; intervals are (after, by]."""

    # species and tree: names; the tree's must be unique
    species: str
    tree: str
    season: int  # season label
    later: bool  # whether the flush is a later one (woken by work, or second or more of its season)
    anchor: tuple[float, float]  # when the wait began
    # when it ended; `by` is `NEVER` when it had not ended by `after`, the last look
    target: tuple[float, float]
    site: Site = ""  # which weather the tree stood in; with the season it names the clocks to read

    @property
    def anchor_middle(self) -> float:
        """Middle of the interval in which the wait began."""
        return (self.anchor[0] + self.anchor[1]) / 2


class WaitTable(NamedTuple):
    """Waits as each clock reads them, in log days at 18 degC."""

    # shape (clocks, rows); log reading at the middle of the target interval; NaN where the row is censored
    middle: Array
    width: Array  # shape (clocks, rows); width of the target interval on the log scale
    # shape (clocks, rows, 4); readings at the two looks either side of the wait's beginning, and at the two
    # either side of its end, infinite where that is open; counted from the middle of its beginning. [days
    # at 18 degC]
    ends: Array
    # noise and gaps: shape (clocks, rows); variance from the anchor's interval and from gaps in the
    # weather, and from gaps alone
    noise: Array
    gaps: Array
    # shape (rows,); rows of which either end is open, or too wide to stand at its middle
    censored: NDArray[np.bool_]


# Ours: where either interval is wider than this part of the wait, the row is read as two intervals.
WIDE = 0.6
# Ours: two stages cannot lie closer than this, so that a wait is always positive. [days at 18 degC]
LEAST_WAIT = 0.25
_INSTANT = 1e-3  # width of a beginning known to the moment [days at 18 degC]


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
    anchor, target = (
        np.array([getattr(w, end) for w in waits]).reshape(-1, 2) for end in ("anchor", "target")
    )
    start, ended = anchor.mean(1), np.maximum(target, anchor[:, :1])  # nothing ends before it begins
    seen = np.isfinite(ended[:, 1])
    half = np.where(seen, (np.maximum(ended[:, 0], start) + ended[:, 1]) / 2, ended[:, 0])
    usually = start if not usual else np.array([usual[w.species, w.later] for w in waits])
    times = np.stack([start, usually, *anchor.T, ended[:, 0], np.where(seen, ended[:, 1], 0.0), half])
    read, gap = np.zeros((len(clocks), *times.shape)), np.zeros(len(waits))
    of_season: dict[tuple[Site, int], list[int]] = {}
    for i, wait in enumerate(waits):
        of_season.setdefault((wait.site, wait.season), []).append(i)
    for key, mine in of_season.items():
        season = seasons[key]
        at = times[:, mine]
        read[:, :, mine] = season.thermal_time.at(at.ravel()).reshape(len(clocks), *at.shape)
        filled = np.interp(at[[0, -1]], np.arange(len(season.gap_variance)), season.gap_variance)
        gap[mine] = filled[1] - filled[0]
    from_usual = np.array([clock.from_usual for clock in clocks])[:, None]
    per_degree = np.array([clock.per_degree for clock in clocks])[:, None]
    origin = np.where(from_usual, read[:, 1], read[:, 0])
    began, begun = (np.where(from_usual, 0.0, read[:, k] - origin) for k in (2, 3))
    after, by = read[:, 4] - origin, np.maximum(read[:, 5] - origin, LEAST_WAIT * 1.5)
    typical = np.maximum(read[:, 6] - origin, LEAST_WAIT)
    middle = np.where(seen, np.log(typical), np.nan)
    width = np.where(seen, np.maximum(by - np.maximum(after, 0), LEAST_WAIT / 2) / typical, np.nan)
    gaps = gap * per_degree**2 / typical**2
    noise = ((begun - began) / typical) ** 2 / 12 + gaps
    wide = np.fmax(width, (begun - began) / typical) > WIDE
    ends = np.stack([np.minimum(began, begun - _INSTANT), begun, after, np.where(seen, by, np.inf)], axis=-1)
    return WaitTable(middle, width, ends, noise, gaps, ~seen | wide.any(0) | (ended[:, 0] <= start))
