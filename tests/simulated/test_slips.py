"""A slip of the pen at one tree: the garden's other trees hardly notice."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from phenology.forecasting.flush_forecast import FlushForecasts
from phenology.garden import Garden
from phenology.learning.garden_fit import GardenFit
from phenology.work.last_safe import WorkSeason
from tests.simulated.climates import CLIMATES
from tests.simulated.growers import FIRST_SEASON, SimulatedGarden, simulate
from tests.simulated.observers import OBSERVERS

pytestmark = pytest.mark.slow

SEASONS, TREES = 3, 12


def known_and_slipped(sim: SimulatedGarden) -> tuple[Garden, Garden, str]:
    """The garden as a tree stops growing, the same with that look a wrong month early, and the tree."""
    garden, season = sim.garden, FIRST_SEASON + SEASONS - 1
    event = next(e for e in sim.events if e.season == season and e.truth.came["extended"] < 200)
    day = garden.calendar.date(season, int(event.truth.came["extended"]) + 8)
    slip: date = garden.calendar.date(season, max(2, int(event.truth.came["budbreak"]) - 30))
    others = [k for k in garden.looks if k.flush_id != event.flush_id or k.latest <= slip]
    mine = next(k for k in garden.looks if k.flush_id == event.flush_id)
    wrong = replace(mine, id="slip", stage="extended", earliest=slip, latest=slip)
    return garden.up_to(day), replace(garden, looks=[*others, wrong]).up_to(day), event.tree


def told(garden: Garden, without: str) -> tuple[list[float], list[float]]:
    """Middle dates of every stage of all other trees, and the last safe day of each species."""
    fit = GardenFit(garden)
    forecasts = FlushForecasts(garden, fit)
    middles = [
        one.arrival.quantile(0.5)
        for tree in garden.standing_trees
        if tree.id != without
        for h, issued in forecasts.live(tree)
        for one in forecasts.ahead(h, issued)
    ]
    late = WorkSeason(garden, fit, forecasts.drawn)
    one_of = {tree.species: tree for tree in garden.trees}
    stops = [late.late(name, garden.site(tree, garden.season)).stop().day for name, tree in one_of.items()]
    return middles, stops


@pytest.mark.parametrize("k", range(4))
def test_a_look_a_month_early_moves_other_trees_by_days_at_most(k):
    sim = simulate(CLIMATES[k], OBSERVERS[1], 700 + k, seasons=SEASONS, trees=TREES)
    right, wrong, tree = known_and_slipped(sim)
    (middles, stops), (moved, moved_stops) = told(right, tree), told(wrong, tree)
    assert len(middles) == len(moved) > TREES / 2
    distance = np.abs(np.subtract(moved, middles))[np.isfinite(middles) & np.isfinite(moved)]
    assert distance.max() <= 2 and distance.mean() <= 0.5
    assert all(a == b or abs(a - b) <= 2 for a, b in zip(stops, moved_stops, strict=True))
