"""The round: the agenda's trees of today, what to look for on each, and a review when nothing grows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

from phenology.advice.agenda import Agenda
from phenology.advice.season_duties import due_for_repotting
from phenology.advice.visits import Visit
from phenology.garden import Garden
from phenology.model.records import Tree
from phenology.weather.frost import FreezeOdds, autumn_frosts, spring_frosts

GROWS_DAYS = 35  # a flush to be looked at so soon is growth (ours)


@dataclass(frozen=True)
class Review:
    """What there is to do when nothing grows."""

    # days by which a first frost has come in 1 and in 5 years of 10; None where it is rarer
    first_frost: tuple[date | None, date | None]
    # days after which a frost still comes in 5 and in 1 years of 10
    last_frost: tuple[date | None, date | None]
    share: float  # share of winters with frost
    # trees whose roots are due for a look in spring, and when they were last repotted
    repot: tuple[tuple[Tree, date | None], ...]


@dataclass(frozen=True)
class Round:
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
    ahead = season if garden.today < 60 else season + 1  # the spring to come
    if autumn := autumn_frosts(record, cold, season):
        odds = FreezeOdds.of(autumn)
        share = odds.share
        first = dated(season, odds.day(0.1)), dated(season, odds.day(0.5))
    if spring := spring_frosts(record, cold, season):
        mirrored = FreezeOdds.of([-day for day in spring])  # so that what never came is never late
        middle, late = (None if day is None else -day for day in map(mirrored.day, (0.5, 0.1)))
        last = dated(ahead, middle), dated(ahead, late)
    due = [(t, t.last_repot) for t in garden.standing_trees if due_for_repotting(t, garden.as_of)]
    return Review(first, last, share, tuple(due))
