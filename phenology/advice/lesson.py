"""What was taught elsewhere, and what a tree was at there: the stage of a flush, or another cue of its year
(buds, bloom, bare wood), and when those seasons of work fall.

A lesson's date says at what a tree was. That state, not the date nor a sum of warmth, is what is looked for
elsewhere (`phenology.advice.lesson_here`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from phenology.advice.care import leaves_down, rest_before
from phenology.advice.forecast_rows import NEVER, Dates, dates_of, shifted
from phenology.advice.lesson_place import LessonPlace, LessonSeason
from phenology.advice.plan import PlannedFlush
from phenology.forecasting.arrival import Arrival
from phenology.forecasting.propagation import Chain, Step, propagate
from phenology.learning.prediction import Prediction
from phenology.learning.transitions import SPRING, Transition
from phenology.model.records import Tree
from phenology.species.species import Species
from phenology.work.duties import BLOOM_CUT_DAYS, SWELLING_DAYS
from phenology.work.rule import SHAPING
from phenology.work.season_of_work import SUMMER

POINTS = 5  # a vague date is read at this many days
WORKED_WITHIN = 28.0  # leaves are worked within so long after they are hard (ours) [days]
SLACK = 7.0  # and a look at tip or leaf may be so far out (ours) [days]
NEAR_WINDOW = 21  # a date so near a season of work belongs to it (ours) [days]
HARDLY = 0.1  # a state less likely than this on its date is doubted (ours)

FIRM = ("cutback", "halving", "partial-defoliation", "full-defoliation", "basal-leaf")
"""Work that waits for hard leaves."""

BARING = ("partial-defoliation", "full-defoliation")
"""Work of the first flush alone, but for the species that stands it again."""

STATES = {
    "budbreak": "buds of the {} flush break",
    "extending": "shoots of the {} flush lengthen",
    "extended": "shoots of the {} flush have stopped",
    "hardened": "leaves of the {} flush are hard",
}
STAGE_CUES = {
    "dormant": "bare",
    "swelling": "bud-swell",
    "flowering": "after-bloom",
    "faded": "after-bloom",
    "turning": "leaf-fall",
    "bare": "bare",
}
"""What a tree may have been at beside a flush, and the season of work that it stands for."""

COUNTED = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")

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


@dataclass(frozen=True)
class Lesson:
    """What was taught."""

    species: Species
    operation: str  # empty where nobody said
    first: date  # only day and month count
    last: date  # later than the first where the date is vague
    year: int | None = None  # the season of the lesson, when it is known
    # what the tree was at, where that was said, or a key of `STAGE_CUES`; else it is worked out
    stage: str | None = None
    flush: int | None = None  # of which flush

    @property
    def cues(self) -> tuple[str, ...]:
        """The seasons of work by which the work goes; none where it goes by a flush, or that was said."""
        species, operation = self.species, self.operation
        if self.stage in STAGE_CUES:
            return (STAGE_CUES[self.stage],)
        if self.stage is not None or self.flush is not None:
            return ()
        if operation in ("repotting", "pruning"):
            return species.repot if operation == "repotting" else species.prune
        if species.bloom_led and operation in (*SHAPING, "pinching"):
            return ("bud-swell",) if species.blooms == "autumn" else ("after-bloom",)
        return ()

    def days(self, season: LessonSeason) -> list[int]:
        """Days of a season there on which it may have been given."""
        width = max(0, (self.last - self.first).days)
        days = {self.first + timedelta(days=round(width * k / (POINTS - 1))) for k in range(POINTS)}
        return [season.garden.calendar.same_day(day, season.garden.season) for day in sorted(days)]


@dataclass(frozen=True)
class TreeState:
    """What a tree was at when a lesson was given."""

    cue: str  # "flush", or a season of work of `phenology.work.season_of_work`
    stage: str = ""  # of the flush; empty with another cue
    flush: int = 0  # its number in the season; 0 with another cue
    # how likely a tree there was at it on that date; None where it was said, or goes by another cue
    odds: float | None = None
    usual: Dates = NEVER  # when it comes there
    fits: bool = True  # whether the date of the lesson is a day for it there

    @property
    def words(self) -> str:
        """The state in words, as what follows "when"."""
        return CUES[self.cue] if self.cue != "flush" else STATES[self.stage].format(COUNTED[self.flush])


def state_there(there: LessonPlace, lesson: Lesson) -> TreeState:
    """What a tree was at there when the lesson was given: as said, or the likeliest by the weather there.

    Raises
    ------
    WeatherError
        If the year of the lesson is given and its weather there is not known.
    """
    season = there.of_lesson(lesson.year)
    asked = lesson.days(season)
    if lesson.cues:
        state = _nearest_cue(season, lesson.cues, asked)
        return replace(state, fits=True) if lesson.stage is not None else state
    flushes = {flush.number: flush for flush in season.plan.flushes}
    likely = _likely_states(season, lesson.operation)
    chance = {state: float(np.mean([odds(day) for day in asked])) for state, odds in likely.items()}
    usual_stage = "budbreak" if lesson.operation == "pinching" else "hardened"
    if lesson.stage is not None or lesson.flush is not None:
        stage = lesson.stage or usual_stage
        among = {n: odds for (s, n), odds in chance.items() if s == stage}
        number = lesson.flush or max(among, key=lambda n: among[n], default=1)
        return TreeState("flush", stage, number, None, stage_dates(flushes.get(number), stage, season))
    (stage, number), odds = max(chance.items(), key=lambda one: one[1], default=((usual_stage, 1), 0.0))
    if odds < HARDLY:
        if lesson.operation not in (*FIRM, "pinching"):
            return _nearest_cue(season, ("bud-swell", "bare"), asked)
        before = min(asked) < season.day(stage_dates(flushes.get(1), usual_stage, season)[1])
        stage, number = usual_stage, 1 if before else max(flushes, default=1)
    usual = stage_dates(flushes.get(number), stage, season)
    return TreeState("flush", stage, number, odds / max(1.0, sum(chance.values())), usual, odds >= HARDLY)


def stage_dates(flush: PlannedFlush | None, stage: str, season: LessonSeason) -> Dates:
    """When a stage of a planned flush comes; shoots lengthen midway from bud break to their stopping."""
    if flush is None:
        return NEVER
    if stage != "extending":
        return _came(flush, stage, season)
    begins, ends = (_came(flush, s, season) for s in ("budbreak", "extended"))
    low, middle, high = (a + (b - a) / 2 if a and b else None for a, b in zip(begins, ends, strict=True))
    return low, middle, high


def _came(flush: PlannedFlush, stage: str, season: LessonSeason) -> Dates:
    """When a stage comes, or was seen to have come."""
    seen = flush.known.came.get(stage, (0.0, math.inf))[1]
    if stage in flush.stages or math.isinf(seen):
        return flush.stages.get(stage, NEVER)
    return (season.garden.calendar.date(season.garden.season, seen),) * 3


Odds = Callable[[float], float]


def _likely_states(season: LessonSeason, operation: str) -> dict[tuple[str, int], Odds]:
    """For each state that the work may have been done at, the chance of it by day of the season.

    Work that waits for hard leaves was done when they had become so within the last weeks; pinching while
    tips were soft. All else was done at whatever a tree is at.
    """
    found: dict[tuple[str, int], Odds] = {}
    flushes = season.plan.flushes
    for k, flush in enumerate(flushes):
        came, n = flush.arrivals, flush.number
        after = flushes[k + 1].arrivals if k + 1 < len(flushes) else {}
        if operation in FIRM:
            if n == 1 or operation not in BARING or season.kind.defoliation == "repeat":
                found["hardened", n] = _within(came.get("hardened"))
        elif operation == "pinching":
            found["budbreak", n] = _between(came.get("budbreak"), came.get("extended"), SLACK)
        else:
            found["extending", n] = _between(came.get("budbreak"), came.get("extended"))
            found["extended", n] = _between(came.get("extended"), came.get("hardened"))
            found["hardened", n] = _between(came.get("hardened"), after.get("budbreak"))
    last = min(season.day(season.growth_ends), leaves_down(season.garden))
    return {state: _until(odds, last) for state, odds in found.items()}


def _chance(arrival: Arrival | None, t: float) -> float:
    return 0.0 if arrival is None else arrival.chance_by(t)


def _within(came: Arrival | None) -> Odds:
    return lambda t: _chance(came, t + SLACK) - _chance(came, t - WORKED_WITHIN)


def _between(came: Arrival | None, gone: Arrival | None, slack: float = 0.0) -> Odds:
    return lambda t: max(0.0, _chance(came, t + slack) - _chance(gone, t - slack))


def _until(odds: Odds, last: float) -> Odds:
    return lambda t: odds(t) if t <= last else 0.0


def _nearest_cue(season: LessonSeason, cues: Sequence[str], asked: Sequence[int]) -> TreeState:
    """The season of work of a species that a date there belongs to, or lies nearest to."""
    day = season.garden.calendar.date(season.garden.season, asked[len(asked) // 2])
    windows = {cue: cue_window(season, season.tree, cue) for cue in cues}
    away = {cue: _away(day, window) for cue, window in windows.items()}
    cue = min(cues, key=lambda one: away[one])
    usual = windows[cue] if cue != "after-bloom" else (day, day, day)
    return TreeState(cue, usual=usual, fits=away[cue] <= NEAR_WINDOW)


def _away(day: date, window: Dates) -> float:
    """Days between a day of any year and a window of the year; none where nothing tells of it."""
    low, high = window[0], window[2]
    if low is None or high is None:
        return 0.0
    middle, half = (low.toordinal() + high.toordinal()) / 2, (high - low).days / 2
    apart = abs((day.toordinal() - middle + 182.5) % 365 - 182.5)
    return max(0.0, apart - half)


def cue_window(season: LessonSeason, tree: Tree, cue: str) -> Dates:
    """When a season of work falls, about the spring of a season.

    Parameters
    ----------
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
    swelling = shifted((low, middle, high or middle), -SWELLING_DAYS)
    if cue == "bud-swell":
        return swelling
    rest = rest_before((low, high or middle), garden)
    if cue == "summer" or cue == "after-bloom":
        ends = SUMMER if cue == "summer" else FADES.get(season.kind.blooms, (0, 365))
        begins, over = (rest.midwinter + timedelta(days=days) for days in ends)
        return begins, begins, over
    found = rest.window(cue)
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
    return dates_of(came, here.garden.calendar, here.garden.season)
