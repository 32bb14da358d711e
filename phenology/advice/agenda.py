"""The agenda: what every tree is at, what to look for next and when, and in which part of the days ahead;
the round, the walk through the trees of today.

Made once from a forecast. Forecast, round, page, charts, calendar and notebook read it, so that none of them
names another tree for today, or another day to stop, than the next.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from enum import StrEnum
from itertools import takewhile
from typing import NamedTuple

from phenology.advice.care import CareDue, all_care, due_for_repotting, last_repotted
from phenology.advice.forecast_rows import (
    AHEAD_DAYS,
    LONG_PAST_DAYS,
    NOT_REFINED,
    ForecastRow,
    GardenForecast,
    is_past,
)
from phenology.advice.visits import OpenEnd, Visit, growth_without_dates, visits_today
from phenology.garden import Garden
from phenology.language.date_style import short_date
from phenology.model.operations import Operation
from phenology.model.records import Tree
from phenology.weather.frost import FreezeOdds, autumn_frosts, spring_frosts

WEEK_DAYS = 7
LOOK_EVERY = 7  # days between looks where only a rhythm is named
AT_REST = ("dormant", "turning", "bare")
GROWS_DAYS = 35  # a flush to be looked at so soon is growth (ours)


class Section(StrEnum):
    """In which part of the days ahead a tree stands."""

    TODAY = "today"
    WEEK = "this week"
    LATER = "later"
    LEAVE = "leave"


class State(NamedTuple):
    """What a tree is at, as far as it is known: the latest look, or work done since."""

    stage: str | None = None  # this or the work; neither where nothing was seen this season or in the last
    operation: str | None = None
    on: date | None = None  # the day of either, the last one it may have been where the date is vague
    vague: bool = False


@dataclass(frozen=True, eq=False, repr=False)
class AgendaRow:
    """One tree on the agenda."""

    tree: Tree
    section: Section
    reason: str  # why it stands there, in words without a full stop
    state: State
    # of each live flush the stage that decides what is done next, soonest look first
    steps: tuple[ForecastRow, ...]
    spring: ForecastRow | None  # the next season's bud break, where nothing of this season's lies ahead
    visits: tuple[Visit, ...] = ()  # what to look for on a walk today; those of rank 2 in passing
    open_end: bool = False  # whether something goes on that has no date: the reason says what

    @property
    def told(self) -> tuple[ForecastRow, ...]:
        """The forecasts that speak for the tree."""
        return self.steps or ((self.spring,) if self.spring is not None else ())

    @property
    def lead(self) -> ForecastRow | None:
        """The one of them whose look comes first."""
        return next(iter(self.told), None)

    @property
    def ahead(self) -> ForecastRow | None:
        """The next stage that has not come yet."""
        return next((step for step in self.steps if step.arrival is not None), self.spring)

    @property
    def last_safe(self) -> date | None:
        """Until when what it opens may be done; None where nothing is opened, or nothing limits it."""
        return min((s.last_safe for s in self.steps if s.last_safe is not None), default=None)

    @property
    def presses(self) -> tuple[Visit, ...]:
        """The visits that make it a tree of today."""
        return tuple(visit for visit in self.visits if visit.look)


@dataclass(frozen=True, eq=False, repr=False)
class Agenda:
    """Every living tree of a garden once, and the care that is due besides."""

    forecast: GardenForecast
    rows: tuple[AgendaRow, ...]  # by section, then soonest look first
    care: tuple[CareDue, ...]

    @property
    def garden(self) -> Garden:
        """The garden on its day."""
        return self.forecast.garden

    def of(self, *sections: Section) -> list[AgendaRow]:
        """The rows of some sections."""
        return [row for row in self.rows if row.section in sections]

    def only(self, trees: Collection[str]) -> Agenda:
        """The agenda of some trees, by their ids."""
        told = tuple(row for row in self.forecast.rows if row.tree.id in trees)
        rows = tuple(row for row in self.rows if row.tree.id in trees)
        care = tuple(one for one in self.care if one.tree.id in trees)
        return Agenda(replace(self.forecast, rows=told), rows, care)

    @property
    def coming(self) -> list[ForecastRow]:
        """What the next months bring: the deciding stage of each live flush, soonest look first."""
        until = self.garden.as_of + timedelta(days=AHEAD_DAYS)
        return sorted((s for row in self.rows for s in row.told if s.look_on <= until), key=_soonest)


def make_agenda(forecast: GardenForecast) -> Agenda:
    """The agenda of a forecast's garden on its day."""
    garden = forecast.garden
    care = tuple(all_care(forecast))
    by_tree: dict[str, list[ForecastRow]] = {}
    for row in forecast.rows:
        by_tree.setdefault(row.tree.id, []).append(row)
    due: dict[str, list[CareDue]] = {}
    for one in care:
        if one.due:
            due.setdefault(one.tree.id, []).append(one)
    rows, springs = [], {row.tree.id: row for row in forecast.springs}
    for tree in garden.standing_trees:
        mine = by_tree.get(tree.id, [])
        steps = tuple(sorted(deciding_steps(mine), key=_soonest))
        spring = springs.get(tree.id)
        if any(step.season > garden.season for step in steps):
            spring, steps = steps[0], ()
        rows.append(_row(tree, garden, steps, spring, due.get(tree.id, [])))
    order = list(Section)
    rows.sort(key=lambda r: (order.index(r.section), _pressing(r), _soonest(r.lead) if r.lead else ()))
    return Agenda(forecast, tuple(rows), care)


def _soonest(row: ForecastRow) -> tuple[date, float, str]:
    return row.look_on, row.order, row.tree.label


def _pressing(row: AgendaRow) -> tuple[bool, int, date]:
    """What a forecast asks comes before care, and what presses first."""
    found = [(v.step is None, v.rank, v.by or date.max) for v in row.presses]
    return min(found, default=(True, 2, date.max))


def deciding_steps(rows: Sequence[ForecastRow]) -> Iterator[ForecastRow]:
    """Of each flush of a tree the one row that decides what its grower does next.

    Hardening once bud break was seen, or is very probably past, or work woke the flush; before that the
    coming bud break.
    """
    flushes: dict[tuple[int, int], dict[str, ForecastRow]] = {}
    for row in rows:
        flushes.setdefault((row.season, row.flush), {})[row.stage] = row
    for stages in flushes.values():
        first = stages.get("budbreak")
        if first is not None and is_past(first) and "hardened" in stages:
            first = None  # nobody looked, and it is too late to look for that
        step = first if first is not None and first.flush == 1 else stages.get("hardened")
        if step is None or (is_past(step, LONG_PAST_DAYS) and step.seen[0] is None):
            continue  # never looked at, and by now the leaves turn: the next is spring's
        if step.arrival is not None or step.operation is not None or step.refused:
            yield step


def _row(
    tree: Tree,
    garden: Garden,
    steps: tuple[ForecastRow, ...],
    spring: ForecastRow | None,
    due: Sequence[CareDue],
) -> AgendaRow:
    told = steps or ((spring,) if spring is not None else ())
    visits = visits_today(tree, garden, told, due)
    open_end = growth_without_dates(garden, tree)
    if open_end is not None and open_end.weekly:
        looks = garden.looks_by_tree.get(tree.id)
        if not looks or (garden.as_of - looks[-1].latest).days >= LOOK_EVERY:
            place = garden.place_of(tree, garden.as_of).name
            visits = (Visit(tree, place, open_end.look_for, open_end.because), *visits)
    section, reason = _section(garden, told, visits, open_end)
    state = _state(tree, garden)
    return AgendaRow(tree, section, reason, state, steps, spring, visits, open_end is not None)


def _section(
    garden: Garden, told: Sequence[ForecastRow], visits: Sequence[Visit], open_end: OpenEnd | None
) -> tuple[Section, str]:
    pressing = [visit for visit in visits if visit.look]
    if pressing:
        return Section.TODAY, pressing[0].because or pressing[0].look_for
    if open_end is not None:
        return Section.WEEK if open_end.weekly else Section.LEAVE, open_end.because
    looks = [step.look_on for step in told if step.decides]
    if not looks:
        refused = next((step.refused for step in told if step.refused is not None), None)
        left = next((step.left for step in told), NOT_REFINED)
        return Section.LEAVE, refused.sentence if refused else left
    day, today = min(looks), garden.as_of
    words = f"worth a look from {short_date(day)}"
    if day <= today + timedelta(days=WEEK_DAYS):
        return Section.WEEK, words
    return Section.LATER if day <= today + timedelta(days=AHEAD_DAYS) else Section.LEAVE, words


def _state(tree: Tree, garden: Garden) -> State:
    """The latest look, unless it was of last season's growth, or work done since that wakes the tree."""
    season, last_season = garden.calendar.start(garden.season), garden.calendar.start(garden.season - 1)
    looks, works = garden.looks_by_tree.get(tree.id, []), garden.works_by_tree.get(tree.id, [])
    woken = [work for work in works if Operation(work.operation).wakes and work.latest >= season]
    newest = takewhile(lambda look: look.latest == looks[-1].latest, reversed(looks))
    last = max(newest, key=lambda look: look.stage.rank, default=None)
    work = max(woken, key=lambda work: work.latest, default=None)
    if work is not None and (last is None or last.latest <= work.latest):
        return State(None, str(work.operation), work.latest, work.earliest != work.latest)
    if last is None or last.latest < (last_season if last.stage in AT_REST else season):
        return State()
    return State(str(last.stage), None, last.latest, last.earliest != last.latest)


class Review(NamedTuple):
    """What there is to do when nothing grows."""

    # days by which a first frost has come in 1 and in 5 years of 10; None where it is rarer, or both are over
    first_frost: tuple[date | None, date | None]
    # days after which a frost still comes in 5 and in 1 years of 10
    last_frost: tuple[date | None, date | None]
    share: float  # share of winters with frost
    # trees whose roots are due for a look in spring, and when they were last repotted
    repot: tuple[tuple[Tree, date | None], ...]


class Round(NamedTuple):
    """A walk through the garden: visits, most pressing first; a review when nothing grows."""

    day: date
    visits: tuple[Visit, ...]
    review: Review | None


def plan_round(agenda: Agenda) -> Round:
    """The walk of the agenda's day; the winter list and the like are visits in passing."""
    garden = agenda.garden
    visits = [visit for row in agenda.rows for visit in row.visits]
    visits.sort(key=lambda s: (s.rank, s.by or date.max, s.place, s.tree.label))
    soon = garden.as_of + timedelta(days=GROWS_DAYS)
    growing = any(step.look_on <= soon for step in agenda.forecast.rows)
    quiet = not growing and not any(s.rank < 2 for s in visits)
    return Round(garden.as_of, tuple(visits), _review(garden) if quiet else None)


def _review(garden: Garden) -> Review:
    season, none = garden.season, (None, None)
    first: tuple[date | None, date | None] = none
    last: tuple[date | None, date | None] = none
    share = 0.0

    def dated(season: int, day: float | None) -> date | None:
        return None if day is None else garden.calendar.date(season, day)

    record, cold = garden.record_at(((0, garden.places[0].id),)), garden.limits.frost_c
    if autumn := autumn_frosts(record, cold, season):
        odds = FreezeOdds.of(autumn)
        share = odds.share
        early, usual = odds.day(0.1), odds.day(0.5)
        if max(early or 0.0, usual or 0.0) >= garden.today:
            first = dated(season, early), dated(season, usual)
    if spring := spring_frosts(record, cold, season):
        mirrored = FreezeOdds.of([-day for day in spring])  # so that what never came is never late
        middle, late = (None if day is None else -day for day in map(mirrored.day, (0.5, 0.1)))
        over = max((day for day in (middle, late) if day is not None), default=0.0) < garden.today
        coming = season + 1 if over else season  # the spring to come
        last = dated(coming, middle), dated(coming, late)
    due = [
        (tree, last_repotted(garden, tree))
        for tree in garden.standing_trees
        if due_for_repotting(garden, tree) and "bud-swell" in garden.species_of(tree).repot
    ]
    return Review(first, last, share, tuple(due))
