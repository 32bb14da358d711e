"""When the seasons of work fall that go by another cue than a flush: buds, bloom, bare wood."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np

from phenology.advice.lesson_place import LessonSeason
from phenology.advice.plan import Dates
from phenology.advice.season_duties import BARE_BEFORE_MIDWINTER, midwinter_before
from phenology.advice.windows import SWELLING_DAYS
from phenology.forecasting.arrival import Arrival
from phenology.forecasting.propagation import Chain, Step, propagate
from phenology.learning.prediction import Prediction
from phenology.learning.transitions import SPRING, Transition
from phenology.model.records import Tree
from phenology.work.duties import BLOOM_CUT_DAYS, RestOfYear
from phenology.work.season_of_work import SUMMER

NEVER: Dates = (None, None, None)
BLOOM_LOG_SD = 0.15  # scatter of the warmth that a bloom takes, between trees and seasons (ours)

FADES = {
    "late-winter": (15, 110),
    "spring": (70, 180),
    "early-summer": (130, 220),
    "summer": (190, 290),
}
"""Days after midwinter on which flowers may fade, by when a species blooms (ours)."""

CUES = {
    "bud-swell": "buds swell",
    "after-bloom": "flowers fade",
    "leaf-fall": "leaves are down",
    "bare": "it is at rest",
    "summer": "it is in full leaf, in a dry spell of summer",
    "autumn": "early autumn has come, weeks before hard frost",
    "warm-nights": "it grows and nights stay warm",
}
"""Seasons of work, as what follows "when"."""


def cue_window(season: LessonSeason, tree: Tree, cue: str) -> Dates:
    """When a season of work falls, about the spring of a season.

    Parameters
    ----------
    season : LessonSeason
    tree : Tree
    cue : str
        A season of work of `phenology.work.season_of_work`.

    Returns
    -------
    Dates
        Of swelling buds, when they begin to; else first day, first day and last day. All None where nothing
        tells, or buds of the season were seen to break.
    """
    garden = season.garden
    if cue == "warm-nights":
        normals = garden.record_at(garden.site(tree, garden.season)).normals
        warm = np.flatnonzero(normals.tmin >= garden.limits.warm_night_c)
        if not len(warm):
            return NEVER
        first, last = (garden.calendar.date(garden.season, float(day) + 1) for day in (warm[0], warm[-1]))
        return first, first, last
    low, middle, high = season.first_budbreak(tree)
    if low is None or middle is None or garden.longest_day is None:
        return NEVER
    swells = timedelta(days=SWELLING_DAYS)
    if cue == "bud-swell":
        return low - swells, middle - swells, (high or middle) - swells
    midwinter = midwinter_before(low, garden)
    if cue == "summer" or cue == "after-bloom":
        ends = SUMMER if cue == "summer" else FADES.get(season.kind.blooms, (0, 365))
        found: tuple[date, date] | None = tuple(midwinter + timedelta(days=n) for n in ends)  # type: ignore[assignment]
    else:
        bare = midwinter - timedelta(days=BARE_BEFORE_MIDWINTER)
        found = RestOfYear(bare, midwinter, (low - swells, high or middle)).window(cue)
    return NEVER if found is None else (found[0], found[0], found[1])


def cue_ends(season: LessonSeason, cue: str, window: Dates) -> date | None:
    """The last day for work that goes by a season: buds break, next year's flower buds are set."""
    if window[1] is None:
        return None
    if cue == "bud-swell":
        return window[1] + timedelta(days=SWELLING_DAYS)
    if cue == "after-bloom":
        garden, late = season.garden, season.plan.late
        summer = garden.calendar.length(garden.season) if late is None else late.summer
        return min(window[1] + timedelta(days=BLOOM_CUT_DAYS), garden.calendar.date(garden.season, summer))
    return window[2]


def bloom_elsewhere(there: LessonSeason, days: Sequence[int], here: LessonSeason) -> Dates:
    """When flowers fade in a place that faded on some days of the season in another.

    No record tells of blooms: what came there by those days, on the clocks of spring, is taken to be what the
    bloom takes, and that is propagated here.
    """
    _, sums = there.drawn
    had = np.log(np.maximum(sums.sums[..., list(days)], 1.0))
    clocks = np.flatnonzero(np.array(SPRING) > 0)
    weight = np.array(SPRING)[clocks]
    spread = np.var(had, axis=(0, 2))[clocks] + BLOOM_LOG_SD**2
    takes = Prediction(weight / weight.sum(), clocks, np.mean(had, axis=(0, 2))[clocks], spread)
    traces, ahead = here.drawn
    step = Step(Transition("start", "budbreak"), lambda _: takes)
    [[curves]] = propagate([Chain((0.0, 0.0), [step])], ahead, traces.gap_variance)
    came = Arrival.over(curves)
    calendar, season = here.garden.calendar, here.garden.season
    low, middle, high = (
        None if math.isinf(t := came.quantile(level)) else calendar.date(season, t)
        for level in (0.1, 0.5, 0.9)
    )
    return low, middle, high
