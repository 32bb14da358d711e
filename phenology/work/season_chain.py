"""The chain of flushes that a season may still bring, and what each opens: a plan without its dates.

Whoever plans puts dates and odds to it, flush by flush, with the propagation of the forecast.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from phenology.model.operations import OPERATIONS
from phenology.work.situation import Done, Situation
from phenology.work.technique import BARED_AGAIN, OPERATION_OF, Choice, Option, choose

MOST_FLUSHES = 4
"""No season is planned further than this (ours)."""


@dataclass(frozen=True)
class Link:
    """One flush of the chain.

    Attributes
    ----------
    flush : int
    choice : Choice
        What it opens once it is ready, conditions not met included.
    ways : tuple of tuple of str
        The ways that the craft leaves open, first choice first: each the techniques done together.
    woken_by : str
        The technique that woke it; empty for the flush that stands.
    """

    flush: int
    choice: Choice
    ways: tuple[tuple[str, ...], ...]
    woken_by: str = ""

    def wakes(self, way: tuple[str, ...]) -> bool:
        """Whether a way wakes the next flush."""
        return any(OPERATIONS[OPERATION_OF[technique]].wakes for technique in way)

    @property
    def conditions(self) -> tuple[Option, ...]:
        """Techniques that would open but for a condition, to be told beside the ways."""
        return self.choice.refused


def season_chain(s: Situation, most: int = MOST_FLUSHES) -> Iterator[Link]:
    """The flush that stands and those that the first choice of each would still wake.

    Parameters
    ----------
    s : Situation
        As it is today; how late it is for the flushes to come is for whoever dates them.
    most : int
        Flushes at most, counted from the season's first.

    Examples
    --------
    >>> from phenology.species.catalogue import load_species
    >>> from phenology.work.zones import Vigour
    >>> quince = Situation(load_species()["Pseudocydonia sinensis"], vigour=Vigour("strong"))
    >>> [link.ways[0] for link in season_chain(quince, most=2)]
    [('outer-defoliation',), ('extend-cut', 'halve')]
    """
    woken_by = ""
    while s.flush <= most:
        choice = choose(s)
        link = Link(s.flush, choice, choice.branches, woken_by)
        yield link
        way = next((way for way in link.ways if link.wakes(way)), None)
        if way is None or s.species.growth == "fixed":
            return
        woken_by = way[0]
        before = tuple(replace(d, days_ago=d.days_ago + BARED_AGAIN, this_flush=False) for d in s.done)
        done = (Done(OPERATION_OF[woken_by], BARED_AGAIN), *before)
        s = replace(s, flush=s.flush + 1, stage=None, done=done, checked=False, grade=None)
