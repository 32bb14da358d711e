"""Past forecasts against what came: every finished first flush forecast again, week after week."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from phenology.judging.garden_hindcast import Judge, judged_ways
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition
from phenology.learning.waits import Wait

EVERY_DAYS = 10  # forecasts are issued on every tenth day of a season while the wait lasts (ours)


@dataclass(frozen=True)
class PastForecast:
    """One forecast of a hardening that has since been seen, made without the season it belongs to.

    Attributes
    ----------
    species, tree : str
        Latin name, tree id.
    season : int
    issued : int
        Day of the season at whose end it was made.
    q10, q50, q90 : float
        Days of the season by which it had come with that chance; past the season's end where it had not.
    after, by : float
        The last look before it, the first look at it. [day of season]
    chance : float
        What the forecast gave to it having come by the middle of those looks.
    """

    species: str
    tree: str
    season: int
    issued: int
    q10: float
    q50: float
    q90: float
    after: float
    by: float
    chance: float

    @property
    def middle(self) -> float:
        """Middle of the looks either side."""
        return (self.after + self.by) / 2

    @property
    def lead(self) -> float:
        """Days from the forecast to the event."""
        return self.middle - self.issued

    @property
    def error(self) -> float:
        """Days by which the median came too late (+) or too early (-)."""
        return self.q50 - self.middle


def past_forecasts(
    fit: GardenFit,
    species: str | None = None,
    every: int = EVERY_DAYS,
    *,
    progress: Callable[[int, int], None] | None = None,
) -> list[PastForecast]:
    """Forecast past seasons' first hardenings again, each from the other seasons.

    Parameters
    ----------
    fit : GardenFit
    species : str, optional
        Latin name; without it every species with two seasons on record.
    every : int
        Days between forecasts of one wait.
    progress : callable, optional
        Called with (flushes forecast, flushes to forecast).
    """
    judge = Judge(fit)
    found = judged_ways(fit, [species] if species else None)
    waits = [(name, way, wait) for name, way, waits in found for wait in waits]
    out: list[PastForecast] = []
    for done, (name, way, wait) in enumerate(waits):
        if progress is not None:
            progress(done, len(waits))
        out += _of_wait(judge, name, way, wait, every)
    return out


def _of_wait(judge: Judge, species: str, way: Transition, wait: Wait, every: int) -> Iterator[PastForecast]:
    first = math.ceil(wait.anchor[1])
    issues = [first, *range(every * (first // every + 1), math.ceil(wait.target[1]), every)]
    for issued in issues:
        if issued < wait.target[1]:
            arrival = judge.arrival(way, wait, issued)
            end = float(len(arrival.curve))
            q10, q50, q90 = (min(arrival.quantile(level), end) for level in (0.1, 0.5, 0.9))
            middle = (wait.target[0] + wait.target[1]) / 2
            yield PastForecast(
                species, wait.tree, wait.season, issued, q10, q50, q90, *wait.target,
                arrival.chance_by(middle),
            )  # fmt: skip


def held(past: Sequence[PastForecast]) -> float:
    """Share of the 80 % ranges that held the middle of the looks, each season counting alike."""
    by_season: dict[int, list[bool]] = {}
    for one in past:
        by_season.setdefault(one.season, []).append(one.q10 <= one.middle <= one.q90)
    return float(np.mean([np.mean(inside) for inside in by_season.values()])) if by_season else math.nan


def typical_error(past: Sequence[PastForecast]) -> float:
    """Mean distance between median and event, each season counting alike. [days]"""
    by_season: dict[int, list[float]] = {}
    for one in past:
        by_season.setdefault(one.season, []).append(abs(one.error))
    return float(np.mean([np.mean(misses) for misses in by_season.values()])) if by_season else math.nan
