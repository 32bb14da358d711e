"""A grower who looks when the round says so finds hard leaves about as soon as one who looks every week.

Four past seasons of weekly looks; in the fifth both look at the same trees until the first flush is hard.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache

import numpy as np
import pytest

from phenology.advice.agenda import make_agenda, plan_round
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.model.records import Look
from tests.simulated.climates import CLIMATES
from tests.simulated.growers import FIRST_SEASON, LAST_LOOK, SimulatedGarden, TrueEvent, simulate
from tests.simulated.observers import OBSERVERS

pytestmark = pytest.mark.slow

SEASONS = 5
SEASON = FIRST_SEASON + SEASONS - 1
GARDENS = 8
WEEK = 7
EVERY = 3  # days between two readings of the round
IN_TIME = 230  # leaves hard after this day of the season open nothing any more, and nobody is sent to look


@dataclass
class Walk:
    """The looks at one tree's first flush, and the day on which it was found hard."""

    event: TrueEvent
    looks: list[Look] = field(default_factory=list)
    found: int | None = None

    def look(self, day: int, sim: SimulatedGarden) -> None:
        """Look at the tree on a day of the season."""
        stage, on = self.event.truth.stage_at(day), sim.garden.calendar.date(SEASON, day)
        name = f"{self.event.tree}-{day}"
        self.looks.append(Look(name, self.event.tree, self.event.flush_id, stage, str(on), on, on))
        if stage == "hardened":
            self.found = day

    @property
    def late(self) -> float:
        """Days from hard leaves to the look that found them."""
        return (self.found or LAST_LOOK) - self.event.truth.came["hardened"]


def known(sim: SimulatedGarden, walks: list[Walk], day: int) -> Garden:
    """The garden on a day, with this season's own looks instead of what its old grower wrote down."""
    garden = sim.garden.up_to(sim.garden.calendar.date(SEASON, day))
    season_of = {flush.id: flush.season for flush in sim.garden.flushes}
    mine = [look for walk in walks for look in walk.looks]
    kept = {look.flush_id for look in mine}
    return replace(
        garden,
        looks=[look for look in garden.looks if season_of[look.flush_id] < SEASON] + mine,
        works=[work for work in garden.works if garden.calendar.season_of(work.latest) < SEASON],
        flushes=[
            replace(flush, ended_on=None, ended_why=None) if flush.season == SEASON else flush
            for flush in sim.garden.flushes
            if flush.season < SEASON or flush.id in kept
        ],
    )


def follow_the_round(sim: SimulatedGarden, events: list[TrueEvent]) -> list[Walk]:
    walks, day = [Walk(event) for event in events], 30
    while day < LAST_LOOK and any(walk.found is None for walk in walks):
        agenda = make_agenda(forecast_garden(known(sim, walks, day)))
        asked = {v.tree.id for v in plan_round(agenda).visits if v.step is not None and v.step.flush == 1}
        for walk in walks:
            if walk.found is None and walk.event.tree in asked:
                walk.look(day, sim)
        day += EVERY
    return walks


def look_every_week(sim: SimulatedGarden, events: list[TrueEvent]) -> list[Walk]:
    """From a week or two before bud break on; nobody could know better when to begin."""
    walks = [Walk(event) for event in events]
    for k, walk in enumerate(walks):
        day = max(1, int(walk.event.truth.came["budbreak"]) - WEEK - k % WEEK)
        while walk.found is None and day < LAST_LOOK:
            walk.look(day, sim)
            day += WEEK
    return walks


@cache
def both() -> tuple[list[Walk], list[Walk]]:
    by_round, weekly = list[Walk](), list[Walk]()
    for seed in range(GARDENS):
        sim = simulate(CLIMATES[seed % 4], OBSERVERS[1], 300 + seed, seasons=SEASONS)
        first = [e for e in sim.events if e.season == SEASON and e.number == 1]
        events = [e for e in first if e.truth.came["hardened"] < IN_TIME]
        by_round += follow_the_round(sim, events)
        weekly += look_every_week(sim, events)
    return by_round, weekly


def test_it_finds_hard_leaves_as_soon_as_looking_weekly():
    by_round, weekly = both()
    assert len(by_round) >= GARDENS
    later = [mine.late - theirs.late for mine, theirs in zip(by_round, weekly, strict=True)]
    assert np.mean(later) <= 1.0  # some 14 trees, each 3 days sooner or later: a standard error of 0.8


def test_it_asks_for_a_fraction_of_the_looks():
    by_round, weekly = both()
    assert sum(len(w.looks) for w in by_round) < 0.5 * sum(len(w.looks) for w in weekly)
