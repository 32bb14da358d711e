"""When each tree, and each species, reached each stage, how much warmth that took, and what followed work."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory, histories
from phenology.learning.transitions import TARGETS
from phenology.model.arrays import Array
from phenology.model.records import Site, Tree, Work
from phenology.seasons.season_heat import FEWEST_USUAL, cumulative_heat, known_days

KNOWN_SHARE = 0.9  # of the days up to a stage; with fewer its warmth is not known (ours)


@dataclass(frozen=True, kw_only=True)
class StageDate:
    """A stage of one flush in one season."""

    species: str
    flush: int  # 1 for the first flush of the season
    stage: str  # one of `TARGETS`
    season: int
    date: date
    day: float  # the middle of the looks either side. [day of season]
    # days before (+) or after (-) the mean of the same tree's other seasons; None with too few of them
    days_ahead: float | None = None
    # above `phenology.seasons.season_heat.BASE_C`, where the tree stood; None where too little weather is
    # known. [degC d]
    degree_days_from_season_start: float | None = None
    # what this flush's own warmth is counted from: "start" of the season or the "work" that woke it for bud
    # break, "budbreak" for what follows; None where that is not on record
    counted_from: str | None = None
    degree_days: float | None = None  # degree-days from there. [degC d]


@dataclass(frozen=True, kw_only=True)
class TreeStage(StageDate):
    """A stage of one tree, where looks stand on both sides of it, close enough to date it."""

    tree: str  # its label
    tree_id: str
    after: date
    by: date  # it came between the two


@dataclass(frozen=True, kw_only=True)
class SpeciesStage(StageDate):
    """A stage of a species: the mean of its trees, of each figure over those that have it.

    A tree that is always early, and new this season, does not make the season early.
    """

    trees: int  # how many trees it is the mean of


def tree_stages(garden: Garden) -> list[TreeStage]:
    """Every stage seen to come, tree by tree, season by season.

    A stage whose looks stand more than `WIDEST_DAYS` apart is left out: `loose_stages` counts it.
    """
    curves = _Curves(garden)
    found = [one for h in histories(garden) for one in _of_flush(h, curves)]
    days: dict[tuple[str, int, str], dict[int, float]] = defaultdict(dict)
    for one in found:
        days[one.tree_id, one.flush, one.stage][one.season] = one.day

    def ahead(one: TreeStage) -> float | None:
        seen = days[one.tree_id, one.flush, one.stage]
        others = [day for season, day in seen.items() if season != one.season]
        return float(np.mean(others)) - one.day if len(others) >= FEWEST_USUAL else None

    return [replace(one, days_ahead=ahead(one)) for one in found]


def species_stages(garden: Garden, seen: Sequence[TreeStage]) -> list[SpeciesStage]:
    """The same by species, in the order of their names, flushes, stages and seasons."""
    groups: dict[tuple[str, int, str, int], list[TreeStage]] = defaultdict(list)
    for one in seen:
        groups[one.species, one.flush, one.stage, one.season].append(one)
    names = {latin: species.name for latin, species in garden.species.items()}
    out = []
    for (species, flush, stage, season), trees in groups.items():
        since = Counter(one.counted_from for one in trees).most_common(1)[0][0]
        day = float(np.mean([one.day for one in trees]))
        out.append(
            SpeciesStage(
                species=species,
                flush=flush,
                stage=stage,
                season=season,
                date=garden.calendar.date(season, day),
                day=day,
                trees=len(trees),
                days_ahead=_mean(one.days_ahead for one in trees),
                degree_days_from_season_start=_mean(one.degree_days_from_season_start for one in trees),
                counted_from=since,
                degree_days=_mean(one.degree_days for one in trees if one.counted_from == since),
            )
        )
    return sorted(
        out, key=lambda s: (names.get(s.species, s.species), s.flush, TARGETS.index(s.stage), s.season)
    )


def loose_stages(garden: Garden) -> list[tuple[Tree, int]]:
    """Tree and season of every stage between looks too far apart to date it."""
    return [
        (h.tree, h.flush.season)
        for h in histories(garden)
        for stage in TARGETS
        if h.bracket(stage) is not None and h.dated(stage) is None
    ]


def _mean(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.mean(known)) if known else None


def _of_flush(h: FlushHistory, curves: _Curves) -> Iterable[TreeStage]:
    calendar, season = curves.garden.calendar, h.flush.season
    for stage in TARGETS:
        if (found := h.dated(stage)) is None:
            continue
        after, by = found
        middle = (after + by) / 2
        since, begun = _begun(h, stage)
        heat = curves.heat(h, middle, by)
        before = None if begun is None else curves.heat(h, begun, by)
        yield TreeStage(
            tree=h.tree.label,
            tree_id=h.tree.id,
            species=h.tree.species,
            flush=h.number,
            stage=stage,
            season=season,
            after=calendar.date(season, after),
            by=calendar.date(season, by),
            date=calendar.date(season, middle),
            day=middle,
            degree_days_from_season_start=heat,
            counted_from=since,
            degree_days=heat - before if heat is not None and before is not None else None,
        )


def _begun(h: FlushHistory, stage: str) -> tuple[str | None, float | None]:
    """What the flush's own warmth up to a stage is counted from, and when that was."""
    if stage != "budbreak":
        broke = h.dated("budbreak")
        return (None, None) if broke is None else ("budbreak", sum(broke) / 2)
    if h.woken is not None:
        return "work", sum(h.woken) / 2
    return ("start", 0.0) if h.flush.started_by == "season" else (None, None)


class _Curves:
    """Warmth by site and season, each summed once."""

    def __init__(self, garden: Garden) -> None:
        self.garden = garden
        self._of = cache(self._summed)

    def heat(self, h: FlushHistory, t: float, by: float) -> float | None:
        """Degree-days to a time, if the weather up to `by` is known well enough."""
        curve, known = self._of(h.site, h.flush.season)
        days = math.ceil(by)
        if known[:days].sum() < KNOWN_SHARE * days:
            return None
        return float(np.interp(t, np.arange(len(curve)), curve))

    def _summed(self, site: Site, season: int) -> tuple[Array, NDArray[np.bool_]]:
        assert isinstance(site, tuple)
        if all(place in self.garden.weather for _, place in site):
            record = self.garden.record_at(site)
            if season in record.seasons:
                return cumulative_heat(record, season), known_days(record, season)
        return np.zeros(1), np.zeros(1, dtype=bool)


class DaysAfter(NamedTuple):
    """Days from work to a stage: how often it was seen to come, the median, the fewest and the most."""

    n: int
    median: float
    least: float
    most: float


@dataclass(frozen=True)
class Followed:
    """What followed one operation on one species."""

    species: str
    operation: str
    works: int  # times it was done
    seasons: int  # in so many
    flushed: int  # times after which a bud break, or a later stage of the woken flush, was seen
    days: dict[str, DaysAfter]  # from the work to the middle of the looks either side of each stage


def what_followed(garden: Garden, seasons: set[int] | None = None) -> list[Followed]:
    """What followed work that wakes, by species and operation, in the order of the garden's trees.

    With `seasons` only work done in these counts.
    """
    woken = {h.flush.work_id: h for h in histories(garden) if h.flush.work_id is not None}
    species = {tree.id: tree.species for tree in garden.trees}
    groups: dict[tuple[str, str], list[Work]] = defaultdict(list)
    for work in garden.works:
        season = garden.calendar.season_of(work.latest)
        if work.operation.wakes and work.tree_id in species and (seasons is None or season in seasons):
            groups[species[work.tree_id], work.operation].append(work)
    order = list(dict.fromkeys(species.values()))
    return [
        _followed(garden, name, operation, groups[name, operation], woken)
        for name, operation in sorted(groups, key=lambda g: (order.index(g[0]), g[1]))
    ]


def _followed(
    garden: Garden, species: str, operation: str, works: list[Work], woken: dict[str, FlushHistory]
) -> Followed:
    waits: dict[str, list[float]] = defaultdict(list)
    flushes = [(work, woken[work.id]) for work in works if work.id in woken]
    for work, h in flushes:
        start = garden.calendar.start(h.flush.season)
        done = ((work.earliest - start).days + (work.latest - start).days) / 2 + 1
        for stage in TARGETS:
            if (found := h.dated(stage)) is not None:
                waits[stage].append(sum(found) / 2 - done)
    return Followed(
        species,
        operation,
        len(works),
        len({garden.calendar.season_of(w.latest) for w in works}),
        sum(any(math.isfinite(by) for _, by in h.came.values()) for _, h in flushes),
        {stage: DaysAfter(len(d), float(np.median(d)), min(d), max(d)) for stage, d in waits.items()},
    )
