"""The main use of all: hardening dates from a notebook, vague by a week, and nothing else.

Eight seasons of two trees, each season forecast from the seven others on the season's tenth day.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.simulated.climates import CLIMATES
from tests.simulated.growers import simulate
from tests.simulated.observers import OBSERVERS
from tests.simulated.partial import crps, dates_of, leave_one_out, removals, usual

pytestmark = pytest.mark.slow

GARDENS = 3
TENTH_DAY = 10
MOVED = 0.005  # a forecast that moved by less is left alone [d]
ALONE, BOTH = ("hardened",), ("budbreak", "hardened")


@cache
def scores(name: str) -> dict[str, float]:
    """Mean CRPS of hardening dates alone, with bud breaks, and of the usual date, in one climate. [d]"""
    climate = next(c for c in CLIMATES if c.name == name)
    rows: dict[str, list[float]] = {"alone": [], "both": [], "usual": []}
    for seed in range(900, 900 + GARDENS):
        sim = simulate(climate, OBSERVERS[0], seed, seasons=8)
        gardens = {kept: dates_of(sim, kept, np.random.default_rng(seed)) for kept in (ALONE, BOTH)}
        alone, both = (list(leave_one_out(garden, sim.events, TENTH_DAY)) for garden in gardens.values())
        for key, told in (("alone", alone), ("both", both), ("usual", usual(gardens[ALONE], alone))):
            rows[key] += crps(told).tolist()
    return {key: float(np.mean(values)) for key, values in rows.items()}


@pytest.mark.parametrize("climate", [c.name for c in CLIMATES])
def test_hardening_dates_alone_tell_more_than_their_usual_date(climate):
    assert scores(climate)["alone"] < scores(climate)["usual"]


def test_bud_breaks_add_less_than_half_a_day_to_them_at_the_season_s_start():
    added = [scores(c.name)["alone"] - scores(c.name)["both"] for c in CLIMATES]
    assert np.mean(added) < 0.5


def test_a_true_look_brings_a_forecast_closer_or_leaves_it_alone():
    """Of looks that move a forecast fewer harm than chance would, and they help more than they harm."""
    gains = []
    for seed in range(60):
        rng = np.random.default_rng([seed, 5])
        observer = OBSERVERS[seed // len(CLIMATES) % len(OBSERVERS)]
        seasons = int(rng.integers(2, 6))
        sim = simulate(CLIMATES[seed % len(CLIMATES)], observer, 2000 + seed, seasons=seasons)
        gains += [r.gain for r in removals(sim, rng)]
    moved = np.array([gain for gain in gains if abs(gain) > MOVED])
    assert len(gains) > 150 and len(moved) > 50
    assert np.mean(moved < 0) < 0.5
    assert moved.mean() > 0
