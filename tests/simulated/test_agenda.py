"""In simulated gardens every living tree is on the agenda once, all year, with something to look for."""

from __future__ import annotations

from datetime import timedelta

import pytest

from phenology.advice.agenda import Section, make_agenda, plan_round
from phenology.advice.garden_forecast import forecast_garden
from tests.simulated.climates import CLIMATES
from tests.simulated.growers import simulate
from tests.simulated.observers import OBSERVERS

ALWAYS = ("subtropical", "southern temperate")
"""Climates of the ordinary run: the two farthest from the others."""


@pytest.mark.parametrize(
    "climate",
    [pytest.param(c, id=c.name, marks=() if c.name in ALWAYS else pytest.mark.slow) for c in CLIMATES],
)
def test_every_tree_stands_on_the_agenda_once_with_a_date(climate):
    made = simulate(climate, OBSERVERS[0], seed=3, seasons=4, trees=2).garden
    start = made.calendar.start(made.season)
    for n in range(20, 340, 40):
        garden = made.up_to(start + timedelta(days=n))
        agenda = make_agenda(forecast_garden(garden))
        assert sorted(row.tree.id for row in agenda.rows) == sorted(t.id for t in garden.standing_trees)
        for row in agenda.rows:
            assert row.reason and row.ahead is not None
            assert row.ahead.undated or row.ahead.date_at(0.1) is not None or row.ahead.arrival.p_not > 0.5
        today = {row.tree.id for row in agenda.of(Section.TODAY)}
        assert today == {visit.tree.id for visit in plan_round(agenda).visits if visit.look}
