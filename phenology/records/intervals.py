"""Looks to intervals: two looks bracket an event, and nobody saw the day itself."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

from phenology.model.errors import StageOrderError
from phenology.model.season import NEVER
from phenology.model.stages import Stage, stage_rank


class Sight(NamedTuple):
    """One look at one flush, in the continuous time of its season."""

    earliest: float  # day of the season of the look; they differ for a vague date
    latest: float
    stage: str
    kind: str = "seen"  # or "happened": the stage came then, rather than stood


# Ours: a first look that already shows the stage says it came within these days before.
FIRST_LOOK_REACH = 14.0
# Ours: closed buds seen in autumn do not mean that they may have broken in winter.
LONGEST_REACH = 42.0


def stage_interval(sights: Iterable[Sight], stage: str) -> tuple[float, float] | None:
    """When a stage came: (after, by], in days of the season; None if the looks do not say.

    Parameters
    ----------
    sights : iterable of Sight
        All looks at one flush, in any order.

    Returns
    -------
    (float, float) or None
        `after` is -inf when no look came before the stage, `by` is infinite when none came after it.

    Raises
    ------
    StageOrderError
        If one look shows the stage and a later one does not.

    Examples
    --------
    >>> looks = [Sight(120, 120, "dormant"), Sight(126, 126, "extending"), Sight(150, 150, "extending")]
    >>> stage_interval(looks, "budbreak"), stage_interval(looks, "extended")
    ((120, 126), (150, inf))
    """
    after, by, rank = -math.inf, NEVER, stage_rank(stage)
    for sight in sights:
        if stage_rank(sight.stage) < rank:
            if sight.earliest > after:
                after = sight.earliest
            continue
        if sight.latest < by:
            by = sight.latest
        if sight.kind == "happened" and sight.stage == stage:
            after = max(after, sight.earliest - 1)
    if after == -math.inf and by == NEVER:
        return None
    if after >= by:
        raise StageOrderError(
            f"one look shows {stage} by day {by:g} of the season and another, on day {after:g}, "
            "does not yet; is one of them wrong, or does a new flush start between them?"
        )
    return after, by


def anchored(interval: tuple[float, float]) -> tuple[float, float]:
    """The interval of a wait's beginning, bounded where no look came before it, or only one long before."""
    after, by = interval
    return max(after, by - (FIRST_LOOK_REACH if after == -math.inf else LONGEST_REACH)), by


def likely_times(interval: tuple[float, float]) -> tuple[float, float, float]:
    """Three equally likely times that stand for an event somewhere in an interval.

    Examples
    --------
    >>> likely_times((120.0, 126.0))
    (121.0, 123.0, 125.0)
    """
    after, by = interval
    return after + (by - after) / 6, (after + by) / 2, by - (by - after) / 6


def check_order(sights: Sequence[Sight]) -> None:
    """Refuse a flush in which an earlier stage was seen after a later one.

    Raises
    ------
    StageOrderError
        Naming the stages and days.
    """
    for stage in list(Stage)[1:]:
        stage_interval(sights, stage)
