"""Work and what followed: how long after which operation a new flush broke, extended and hardened."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory, histories
from phenology.learning.transitions import TARGETS
from phenology.model.records import Work


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

    Parameters
    ----------
    seasons : set of int, optional
        Only work done in these.
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
