"""Buds that stay shut: the chance that a cut late in the year wakes nothing before spring.

Common practice, no source: cuts soon after midsummer are answered, those of early autumn often rest. How the
chance grows with the days since the longest one is ours; when it does is learned from the garden's own cuts.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

import numpy as np

from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory
from phenology.model.arrays import Array
from phenology.model.stages import Stage

HALF_REST, HALF_REST_SD = 95.0, 15.0
"""Days after the longest one from which every other cut only rests, and how sure that is (ours). [days]"""

SPREAD = 12.0
"""Scale of the logistic curve along which cuts come to rest (ours). [days]"""

SHUT_DAYS = 45
"""Buds still shut so long after a cut rest; new growth seen later than that is not its answer. [days]"""

_BREAK, _HARD = Stage.BUDBREAK.rank, Stage.HARDENED.rank


class Resting(NamedTuple):
    """What is believed of the day from which cuts rest."""

    longest: float | None  # day of the season with the longest day; None where nothing rests
    half: Array  # days after it by which every other cut rests; shape (k,)
    weight: Array  # their posterior shares; shape (k,)

    @classmethod
    def learned(cls, longest: float | None, cuts: Sequence[tuple[float, bool]]) -> Resting:
        """From cuts: the day of the season of each, and whether its buds stayed shut."""
        half = HALF_REST + HALF_REST_SD * np.linspace(-3.0, 3.0, 61)
        log_share = -0.5 * ((half - HALF_REST) / HALF_REST_SD) ** 2
        for day, rested in cuts if longest is not None else ():
            rests = _curve(day - float(longest or 0.0), half)
            log_share += np.log(rests if rested else 1 - rests)
        share = np.exp(log_share - log_share.max())
        return cls(longest, half, share / share.sum())

    def chance(self, day: float) -> float:
        """Chance that buds cut on a day of the season stay shut until spring.

        Examples
        --------
        >>> usual = Resting.learned(172.0, [])
        >>> [round(usual.chance(172.0 + days), 2) for days in (-30, 0, 30, 60, 90, 120)]
        [0.0, 0.0, 0.01, 0.09, 0.42, 0.84]
        """
        if self.longest is None:
            return 0.0
        return float(self.weight @ _curve(day - self.longest, self.half))


def _curve(past_longest: float, half: Array) -> Array:
    return np.asarray(1 / (1 + np.exp((half - past_longest) / SPREAD)))


def rested(garden: Garden, h: FlushHistory) -> bool | None:
    """Whether the buds of a flush that work woke stayed shut in its season; None where nobody knows."""
    if h.woken is None or h.lost:
        return None
    looks = garden.looks_by_flush.get(h.flush.id, [])
    if any(_BREAK <= look.stage.rank <= _HARD for look in looks):
        return False
    if h.flush.season >= garden.season or h.last_look is None:
        return None
    return True if h.last_look >= h.woken[1] + SHUT_DAYS else None


def cuts_of(garden: Garden, histories: Iterable[FlushHistory]) -> Iterator[tuple[float, bool]]:
    """The day of every cut of trees that rest in winter, and whether its buds stayed shut."""
    for h in histories:
        shut = rested(garden, h)
        if shut is not None and h.woken is not None and not garden.species_of(h.tree).is_tropical:
            yield h.woken[1], shut
