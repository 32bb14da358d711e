"""Leaf counts as growers write them, and which of a flush's counts say something.

A count is of fully unfolded leaves (pairs, where leaves are opposite) on a few outer shoots. Counted while
the flush grows it tells its pace; counted when it has stopped, how many leaves it took. Conventions are ours.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory
from phenology.model.records import Look
from phenology.model.stages import stage_rank

MOST = 60
"""A shoot of more leaves than this is a slip of the pen, or a count of the whole tree."""
FEWEST = 1.0
"""Shoots that carry less than a leaf on average tell no pace yet."""

SHOOT_SD = 0.9  # how far shoots of one flush usually differ, miscounts included [leaves]
SHOOT_DEGREES = 2.0  # shoots that this is worth, beside those counted
CHOICE_SD = 0.3  # how far the shoots chosen may be from the three in four that a look speaks for [leaves]

GROWING, FINISHED = ("budbreak", "extending"), ("extended", "hardened")
_COUNT = re.compile(r"(\d+(?:\.\d+)?)(?:\s*(?:-|–|to)\s*(\d+(?:\.\d+)?))?")


@dataclass(frozen=True)
class LeafCount:
    """Leaves on an average shoot on a day of the season, or within a few for a vague date."""

    earliest: float  # of the look [day of season]
    latest: float
    leaves: float  # mean of the shoots counted
    sd: float  # how far that may be from the flush

    @property
    def day(self) -> float:
        """Middle of the look's dates. [day of season]"""
        return (self.earliest + self.latest) / 2


@dataclass(frozen=True)
class FlushCounts:
    """The counts of one flush that are used: the last while it grew, and the last when it had stopped."""

    growing: LeafCount | None = None
    final: LeafCount | None = None


def parse_counts(text: str | None) -> tuple[float, ...]:
    """Counts of single shoots; a range on one shoot counts as its middle.

    Returns
    -------
    tuple of float
        Empty where any part of the text is not a count up to `MOST`: then nothing is guessed.

    Examples
    --------
    >>> parse_counts("5 6 5"), parse_counts("5,6,5"), parse_counts("5-6"), parse_counts("0")
    ((5.0, 6.0, 5.0), (5.0, 6.0, 5.0), (5.5,), (0.0,))
    >>> parse_counts("lots"), parse_counts("300"), parse_counts("5 or so"), parse_counts(None)
    ((), (), (), ())
    """
    out = []
    spaced = re.sub(r"\s*(-|–|\bto\b)\s*", "-", (text or "").strip())
    for part in filter(None, re.split(r"[,;/+\s]+", spaced)):
        found = _COUNT.fullmatch(part)
        if found is None:
            return ()
        low, high = float(found[1]), float(found[2] or found[1])
        if max(low, high) > MOST:
            return ()
        out.append((low + high) / 2)
    return tuple(out)


def mean_and_sd(counts: Sequence[float]) -> tuple[float, float]:
    """Mean of the shoots counted, and its standard deviation as a statement about the flush.

    Few shoots tell little of how far shoots differ, so their own spread is pooled with the usual one. A
    count stands for the leaf interval around it, a twelfth of a leaf squared; and the shoots were chosen.

    Examples
    --------
    >>> [round(v, 2) for v in mean_and_sd([5, 6, 5])], [round(v, 2) for v in mean_and_sd([2, 9, 5])]
    ([5.33, 0.56], [5.33, 1.52])
    """
    n, mean = len(counts), math.fsum(counts) / len(counts)
    squares = math.fsum((v - mean) ** 2 for v in counts)
    between = (SHOOT_DEGREES * SHOOT_SD**2 + squares) / (SHOOT_DEGREES + n - 1)
    return mean, math.sqrt((between + 1 / 12) / n + CHOICE_SD**2)


def counts_of(garden: Garden, h: FlushHistory) -> FlushCounts:
    """The counts of a flush that say something of its pace and of how many leaves it took.

    Those of `budbreak` and `extending` looks tell the pace, those of `extended` and `hardened` ones the
    number. Left out: growth that was checked, a flush that was lost, shoots on which work had been done that
    takes leaves or tips off (on its own day a look comes first), and looks at a part where others speak for
    the whole.
    """
    looks = [v for v in garden.looks_by_flush.get(h.flush.id, []) if v.leaves]
    if not looks or h.lost:
        return FlushCounts()
    start, until = garden.calendar.start(h.flush.season), _taken_off(garden, h)
    whole = [v for v in looks if v.part is None or v.part == h.flush.part] or looks
    found: dict[str, LeafCount] = {}
    for look in whole:
        counts = parse_counts(look.leaves)
        if not counts or look.checked or (until and look.latest > until):
            continue
        mean, sd = mean_and_sd(counts)
        if mean >= FEWEST and (kind := _kind(look)):
            earliest, latest = ((day - start).days + 1.0 for day in (look.earliest, look.latest))
            found[kind] = LeafCount(earliest, latest, mean, sd)
    return FlushCounts(found.get("growing"), found.get("final"))


def _kind(look: Look) -> str:
    return "growing" if look.stage in GROWING else "final" if look.stage in FINISHED else ""


def _taken_off(garden: Garden, h: FlushHistory) -> date | None:
    """The first work on the growing flush that takes leaves or tips off, or the day the flush ended."""
    grown = [
        v.earliest for v in garden.looks_by_flush[h.flush.id] if stage_rank(v.stage) >= stage_rank("budbreak")
    ]
    days = [
        w.latest
        for w in garden.works_by_tree.get(h.tree.id, [])
        if grown
        and w.latest >= min(grown)
        and w.operation.wakes
        and w.id != h.flush.work_id
        and garden.calendar.season_of(w.latest) == h.flush.season
    ]
    return min([*days, *([h.flush.ended_on] if h.flush.ended_on else [])], default=None)
