"""When each tree reached each stage, and how much warmth that took it."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory, histories
from phenology.learning.transitions import TARGETS
from phenology.model.arrays import Array
from phenology.model.records import Site, Tree
from phenology.seasons.season_heat import FEWEST_USUAL, cumulative_heat
from phenology.weather.season_weather import SeasonWeather

KNOWN_SHARE = 0.9  # of the days up to a stage; with fewer its warmth is not told (ours)


@dataclass(frozen=True)
class TreeStage:
    """A stage of one flush of one tree, where looks stand on both sides of it, close enough to date it.

    Attributes
    ----------
    tree : Tree
    flush : int
        1 for the first flush of the tree's season.
    stage : str
        One of `TARGETS`.
    season : int
    after, by : float
        Between which it came. [day of season]
    heat : float or None
        Degree-days above `phenology.seasons.season_heat.BASE_C` from the season's start to the middle of the
        two, where the tree stood; None where too little weather is known. [degC d]
    since : str
        What this flush's own warmth is counted from: "start" of the season or the "work" that woke it for bud
        break, "budbreak" for what follows; empty where that is not on record.
    own_heat : float or None
        Degree-days from there. [degC d]
    ahead : float or None
        Days before (+) or after (-) the mean of the same tree's other seasons; None with too few of them.
    """

    tree: Tree
    flush: int
    stage: str
    season: int
    after: float
    by: float
    heat: float | None
    since: str
    own_heat: float | None
    ahead: float | None = None

    @property
    def day(self) -> float:
        """The middle of the looks either side. [day of season]"""
        return (self.after + self.by) / 2


def tree_stages(garden: Garden) -> list[TreeStage]:
    """Every stage seen to come, tree by tree, season by season.

    A stage whose looks stand more than `WIDEST_DAYS` apart is left out: `loose_stages` counts it.
    """
    curves = _Curves(garden)
    found = [one for h in histories(garden) for one in _of_flush(h, curves)]
    days: dict[tuple[str, int, str], dict[int, float]] = defaultdict(dict)
    for one in found:
        days[one.tree.id, one.flush, one.stage][one.season] = one.day
    return [replace(one, ahead=_ahead(one, days[one.tree.id, one.flush, one.stage])) for one in found]


def loose_stages(garden: Garden) -> list[tuple[Tree, int]]:
    """Tree and season of every stage between looks too far apart to date it."""
    return [
        (h.tree, h.flush.season)
        for h in histories(garden)
        for stage in TARGETS
        if h.bracket(stage) is not None and h.dated(stage) is None
    ]


def tree_stage_date(one: TreeStage, garden: Garden) -> date:
    """The date of a stage's middle."""
    return garden.calendar.date(one.season, one.day)


def _ahead(one: TreeStage, days: dict[int, float]) -> float | None:
    others = [day for season, day in days.items() if season != one.season]
    return float(np.mean(others)) - one.day if len(others) >= FEWEST_USUAL else None


def _of_flush(h: FlushHistory, curves: _Curves) -> list[TreeStage]:
    out = []
    for stage in TARGETS:
        found = h.dated(stage)
        if found is None:
            continue
        after, by = found
        middle = (after + by) / 2
        since, begun = _begun(h, stage)
        heat = curves.heat(h, middle, by)
        before = None if begun is None else curves.heat(h, begun, by)
        own = heat - before if heat is not None and before is not None else None
        out.append(TreeStage(h.tree, h.number, stage, h.flush.season, after, by, heat, since, own))
    return out


def _begun(h: FlushHistory, stage: str) -> tuple[str, float | None]:
    """What the flush's own warmth up to a stage is counted from, and when that was."""
    if stage == "budbreak":
        if h.woken is not None:
            return "work", (h.woken[0] + h.woken[1]) / 2
        return ("start", 0.0) if h.flush.started_by == "season" else ("", None)
    broke = h.dated("budbreak")
    return ("", None) if broke is None else ("budbreak", (broke[0] + broke[1]) / 2)


class _Curves:
    """Warmth by site and season, each summed once."""

    def __init__(self, garden: Garden) -> None:
        self.garden = garden
        self._kept: dict[tuple[Site, int], tuple[Array, SeasonWeather] | None] = {}

    def heat(self, h: FlushHistory, t: float, by: float) -> float | None:
        """Degree-days to a time, if the weather up to `by` is known well enough."""
        key = (h.site, h.flush.season)
        if key not in self._kept:
            self._kept[key] = self._summed(*key)
        kept = self._kept[key]
        if kept is None:
            return None
        curve, record = kept
        row, days = record.row(h.flush.season), math.ceil(by)
        known = np.isfinite(record.tmin[row, :days]) & np.isfinite(record.tmax[row, :days])
        if known.sum() < KNOWN_SHARE * days:
            return None
        return float(np.interp(t, np.arange(len(curve)), curve))

    def _summed(self, site: Site, season: int) -> tuple[Array, SeasonWeather] | None:
        assert isinstance(site, tuple)
        if any(place not in self.garden.weather for _, place in site):
            return None
        record = self.garden.record_at(site)
        return (cumulative_heat(record, season), record) if season in record.seasons else None
