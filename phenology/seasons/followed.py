"""Work and what followed: how long after which operation a new flush broke, extended and hardened."""

from __future__ import annotations

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory, histories
from phenology.learning.transitions import TARGETS
from phenology.model.records import Work


@dataclass(frozen=True)
class Followed:
    """What followed one operation on one species.

    Attributes
    ----------
    species, operation : str
    works, seasons : int
        Times it was done, and in how many seasons.
    flushed : int
        Times after which a bud break, or a later stage of the woken flush, was seen.
    days : dict of stage to (count, median, least, most)
        Days from the work to the middle of the looks either side of each stage.
    """

    species: str
    operation: str
    works: int
    seasons: int
    flushed: int
    days: dict[str, tuple[int, float, float, float]]


def what_followed(garden: Garden, seasons: set[int] | None = None) -> list[Followed]:
    """What followed work that wakes, by species and operation, in the order of the garden's trees.

    Parameters
    ----------
    garden : Garden
    seasons : set of int, optional
        Only work done in these.
    """
    woken: dict[str, FlushHistory] = {h.flush.work_id: h for h in histories(garden) if h.flush.work_id}
    species = {tree.id: tree.species for tree in garden.trees}
    groups: dict[tuple[str, str], list[Work]] = defaultdict(list)
    for work in garden.works:
        season = garden.calendar.season_of(work.latest)
        if work.operation.wakes and work.tree_id in species and (seasons is None or season in seasons):
            groups[species[work.tree_id], work.operation].append(work)
    order = list(dict.fromkeys(species.values()))
    return [
        _followed(garden, name, operation, works, woken)
        for (name, operation), works in sorted(groups.items(), key=lambda g: (order.index(g[0][0]), g[0][1]))
    ]


def _followed(
    garden: Garden, species: str, operation: str, works: list[Work], woken: dict[str, FlushHistory]
) -> Followed:
    waits: dict[str, list[float]] = defaultdict(list)
    flushed = 0
    for work in works:
        h = woken.get(work.id)
        seen = h.came if h is not None else {}
        flushed += any(math.isfinite(by) for _, by in seen.values())
        for stage in TARGETS:
            found = None if h is None else h.dated(stage)
            if h is not None and found is not None:
                start = garden.calendar.start(h.flush.season)
                done = ((work.earliest - start).days + (work.latest - start).days) / 2 + 1
                waits[stage].append(sum(found) / 2 - done)
    return Followed(
        species,
        operation,
        len(works),
        len({garden.calendar.season_of(w.latest) for w in works}),
        flushed,
        {stage: (len(days), float(np.median(days)), min(days), max(days)) for stage, days in waits.items()},
    )
