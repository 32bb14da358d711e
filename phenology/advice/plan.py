"""The plan of a season: for each tree the flushes that may still come this year, and what each opens.

Flushes after the next work are asked of the forecast as if that work had been done: the same propagation,
with a flush that is not there yet.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from phenology.advice.adviser import Adviser, stop_of
from phenology.advice.forecast_rows import NEVER, Dates, dates_of
from phenology.forecasting.arrival import Arrival
from phenology.forecasting.flush_forecast import FlushForecasts, StageAhead
from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.model.records import Flush, Tree
from phenology.work.case import Case
from phenology.work.duties import PINCHING_DAYS
from phenology.work.last_safe import Late
from phenology.work.situation import Done, Situation
from phenology.work.technique import OPERATION_OF, WHEN_READY, Option, choose, doing, in_turn

MOST_FLUSHES = 4
"""A plan follows no more of a tree's flushes (ours): what comes after hangs on too much."""
LEAST_CHANCE = 0.2
"""A flush less likely than this to be hard this season is not planned on (ours)."""

NO_CHAIN = ("pinch", "halve", "thin", "bloom-cut")
"""Techniques after which a plan follows no further flush."""


@dataclass(frozen=True)
class Branch:
    """One way that the craft leaves open for a flush."""

    techniques: tuple[str, ...]  # in order; see `phenology.work.technique`
    does: str  # the same as an order, without a full stop
    when: str  # what it waits for, in words
    opens: Dates
    until: date | None  # the last point at which it is still open; None where nothing ends it this season
    # odds that what it wakes is hard in time, if it is done when it opens; None where it wakes nothing
    ripens: float | None


@dataclass(frozen=True)
class PlannedFlush:
    """One flush of a plan."""

    known: FlushHistory  # the flush, as the plan takes it to be
    # the work that is taken to wake it; None for a flush that is there or that spring brings
    woken_on: date | None
    arrivals: dict[str, Arrival]  # of stages still to come
    stages: dict[str, Dates]  # the same as dates
    chance: float  # that it is hard before the season ends
    branches: tuple[Branch, ...]
    leave: str  # why it is left alone, in words; empty where there are branches
    situation: Situation  # what its technique is chosen for, on the day it opens

    @property
    def number(self) -> int:
        """Its number in the season."""
        return self.known.number

    @property
    def is_hard(self) -> bool:
        """Whether it was seen hard."""
        return self.known.is_hard


@dataclass(frozen=True)
class Plan:
    """The flushes of one tree that may still come this year."""

    tree: Tree
    # the flush under way first; each later one stands as if the one before were worked when it is ready
    flushes: tuple[PlannedFlush, ...]
    last_safe: date | None = None  # last safe day of work that wakes growth
    why: str = ""  # why there is no plan; empty where there is
    late: Late | None = None  # the late season that the plan runs into

    @property
    def guess(self) -> bool:
        """Whether its last safe day rests on the catalogue alone."""
        return self.late is not None and self.late.guess


class Planner:
    """Plans of a garden's trees; traces and late seasons are worked out once."""

    def __init__(self, garden: Garden, fit: GardenFit | None = None) -> None:
        self.garden, self.fit = garden, fit or GardenFit(garden)
        self.forecasts = FlushForecasts(garden, self.fit)
        self._adviser = Adviser(garden, self.fit, self.forecasts.drawn)

    def plan(self, tree: Tree, *, cut: date | None = None) -> Plan:
        """The plan of one tree; with `cut` as if the flush under way were cut back on that day."""
        live = [
            (h, issued) for h, issued in self.forecasts.live(tree) if h.flush.season == self.garden.season
        ]
        if not live:
            return Plan(tree, (), why="its season is over, or nothing of it is under way")
        h, issued = live[-1]
        late = self._adviser.late(h)
        flushes = tuple(self._follow(h, issued, late, cut))
        case = Case(self.garden, tree, "cutback", self.garden.as_of, late=late)
        led = self.garden.species_of(tree).bloom_led  # which no frost tells when to stop
        return Plan(tree, flushes, None if led else stop_of(case, late, -math.inf)[0], late=late)

    def growth_ends(self, tree: Tree) -> date | None:
        """When frost or cool nights usually end growth where a tree stands; None where nothing does."""
        season = self.garden.season
        end = float(np.median(self._adviser.seasons.ending(self.garden.site(tree, season)).season.end()))
        return None if math.isinf(end) else self.garden.calendar.date(season, end)

    def _follow(self, h: FlushHistory, issued: int, late: Late, cut: date | None) -> Iterator[PlannedFlush]:
        woken: date | None = None
        planned: tuple[tuple[str, date], ...] = ()
        for _ in range(MOST_FLUSHES):
            ahead = [] if h.is_hard else self.forecasts.ahead(h, issued)
            hard = next((one.arrival for one in ahead if one.stage == "hardened"), None)
            chance = 1.0 if h.is_hard else 0.0 if hard is None else 1 - hard.p_not
            if woken is not None and chance < LEAST_CHANCE:
                return
            flush = self._planned(h, ahead, chance, planned, late)
            yield flush
            work = self._next_work(flush) if cut is None else ("cutback", cut)
            woken = None if work is None else work[1]
            planned = (*planned, work) if work is not None else planned
            # a fixed grower's second flush is never assumed, only seen; a question about a cut is answered
            fixed = cut is None and self.garden.species_of(h.tree).growth == "fixed"
            cut = None
            if woken is None or fixed or late.zone(self._time(woken)) == "rests":
                return
            h = self._woken(h, woken)

    def _planned(
        self,
        h: FlushHistory,
        ahead: list[StageAhead],
        chance: float,
        planned: tuple[tuple[str, date], ...],
        late: Late,
    ) -> PlannedFlush:
        stages = {one.stage: self._dates(one.arrival) if one.dated else NEVER for one in ahead}
        opens = stages.get("hardened", (self.garden.as_of,) * 3)
        day = opens[1] or self.garden.calendar.end(self.garden.season)
        if self.garden.species_of(h.tree).bloom_led:  # shaped as its bloom ends, hard leaves or not
            opens, day = NEVER, self.garden.as_of
        case = Case(self.garden, h.tree, "cutback", day, late=late, planned=True, known=h)
        done = tuple(Done(operation, (day - when).days) for operation, when in planned)
        situation = case.situation()
        situation = replace(situation, stage="hardened", done=(*situation.done, *done))
        choice = choose(situation)
        pinch = self._pinch(case, stages) if not h.is_hard else None
        ways = [self._branch(way, choice.options, opens, case) for way in choice.branches]
        branches = tuple(b for b in (pinch, *ways) if b is not None)
        woken = planned[-1][1] if planned else None
        arrivals = {one.stage: one.arrival for one in ahead}
        leave = "" if branches else choice.sentence
        if choice.now and not h.is_hard:
            leave = leave and f"{WHEN_READY['halve']}, {leave}"
        return PlannedFlush(h, woken, arrivals, stages, chance, branches, leave, situation)

    def _branch(self, way: tuple[str, ...], options: tuple[Option, ...], opens: Dates, case: Case) -> Branch:
        first = next(o for o in options if o.technique == way[0])
        until = ripens = None
        if first.technique == "bloom-cut":
            buds_set = replace(case, late=None).late_summer  # as the round has it
            until = self.garden.calendar.date(self.garden.season, buds_set)
        elif first.wakes and case.late is not None:
            t = -math.inf if opens[1] is None else self._time(opens[1])
            until = stop_of(case, case.late, t)[0]
            ripens = self._ripens(case, opens[1])
        return Branch(way, in_turn(way, case.species), first.when, opens, until, ripens)

    def _pinch(self, case: Case, stages: dict[str, Dates]) -> Branch | None:
        """Pinching soft tips, where the species takes it: from bud break until shoots stop."""
        options = choose(replace(case.situation(), stage="budbreak")).options
        option = next((o for o in options if o.technique == "pinch"), None)
        if option is None or option.unmet:
            return None
        opens = stages.get("budbreak", (self.garden.as_of,) * 3)
        stops = stages.get("extended", NEVER)[1]
        until = stops or (opens[1] + timedelta(days=PINCHING_DAYS) if opens[1] else None)
        if "extended" not in stages or opens[1] is None or (until is not None and until < opens[1]):
            return None
        does = doing("pinch", case.species)
        return Branch(("pinch",), does, WHEN_READY["pinch"], opens, until, self._ripens(case, opens[1]))

    def _ripens(self, case: Case, day: date | None) -> float | None:
        """Odds that what work on a day wakes is hard in time."""
        if case.late is None or day is None:
            return None
        return case.late.curve.odds(self._time(day))

    def _next_work(self, flush: PlannedFlush) -> tuple[str, date] | None:
        """The work that wakes the next flush, and when, if it is done as soon as it is open."""
        for branch in flush.branches:
            day = branch.opens[1]
            if branch.techniques[0] not in NO_CHAIN and day is not None and day <= (branch.until or day):
                return OPERATION_OF[branch.techniques[0]], day
        return None

    def _woken(self, h: FlushHistory, day: date) -> FlushHistory:
        """The flush that work on a day would wake."""
        t = self._time(day)
        flush = Flush(f"{h.flush.id}+", h.tree.id, h.flush.season, "work", started_on=day, work_id="planned")
        return FlushHistory(h.tree, flush, h.number + 1, h.site, {}, (t - 1, t), None, None, None)

    def _dates(self, arrival: Arrival) -> Dates:
        return dates_of(arrival, self.garden.calendar, self.garden.season)

    def _time(self, day: date) -> float:
        return self.garden.calendar.time(self.garden.season, day)
