"""Two people who look at the same flushes: how many days later one calls a stage than the other.

Each brackets the stage between two of their own looks. With the event uniform over one's interval, the other
puts it `lateness` days later, give or take `SCATTER`, somewhere in theirs; the lateness has a normal prior
about none. Exact on a grid; the rule and its numbers are ours.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from phenology.garden import Garden
from phenology.mathematics.distributions import normal_cdf
from phenology.model.errors import StageOrderError
from phenology.records.intervals import Sight, stage_interval

PRIOR_SD = 7.0  # how far two people may differ before anything is known [days]
SCATTER = 2.0  # how well one person repeats their own judgement [days]
REACH = 60.0  # lateness beyond this is not thought of [days]

Interval = tuple[float, float]


@dataclass(frozen=True)
class Lateness:
    """How much later `second` calls a stage than `first`."""

    stage: str
    first: str
    second: str
    flushes: int  # flushes that both bracketed
    days: float  # median [days]
    low: float  # ends of the range that holds four in five
    high: float

    @property
    def clear(self) -> bool:
        """Whether the range leaves out no difference at all."""
        return self.low > 0 or self.high < 0


def lateness(pairs: Sequence[tuple[Interval, Interval]]) -> tuple[float, float, float]:
    """Median and 80 % range of how much later the second of each pair calls the same event. [days]

    Examples
    --------
    >>> [round(days) for days in lateness([((100, 104), (106, 110)), ((98, 102), (103, 107))] * 3)]
    [5, 4, 7]
    """
    grid = np.arange(-REACH, REACH + 0.25, 0.25)
    log = -0.5 * (grid / PRIOR_SD) ** 2
    for (after, by), (other_after, other_by) in pairs:
        t = after + (np.arange(20) + 0.5) / 20 * (by - after)
        called = t[:, None] + grid
        inside = normal_cdf((other_by - called) / SCATTER) - normal_cdf((other_after - called) / SCATTER)
        log += np.log(np.maximum(inside.mean(0), 1e-6))
    share = np.cumsum(np.exp(log - log.max()))
    low, middle, high = (float(np.interp(q, share / share[-1], grid)) for q in (0.1, 0.5, 0.9))
    return middle, low, high


def observer_lateness(garden: Garden, stage: str = "hardened") -> Iterator[Lateness]:
    """Every two people of a garden who bracketed the stage on the same flushes."""
    seen: dict[str, dict[str, Interval]] = {}
    for flush, looks in garden.looks_by_flush.items():
        for who in {look.who for look in looks if look.who}:
            mine = [
                Sight(float(look.earliest.toordinal()), float(look.latest.toordinal()), look.stage, look.kind)
                for look in looks
                if look.who == who and not look.checked
            ]
            if interval := _bracketed(mine, stage):
                seen.setdefault(who, {})[flush] = interval
    for first, second in itertools.combinations(sorted(seen), 2):
        both = sorted(seen[first].keys() & seen[second].keys())
        if both:
            middle, low, high = lateness([(seen[first][f], seen[second][f]) for f in both])
            if middle < 0:  # named so that the second is the one who is later
                first, second, middle, low, high = second, first, -middle, -high, -low
            yield Lateness(stage, first, second, len(both), middle, low, high)


def _bracketed(sights: Sequence[Sight], stage: str) -> Interval | None:
    try:
        interval = stage_interval(sights, stage) if sights else None
    except StageOrderError:
        return None
    return interval if interval and all(map(math.isfinite, interval)) else None
