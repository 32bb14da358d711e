"""Leaf counts on trees whose phyllochron is known: a small version of the table in docs/simulated-growers.md.

`python -m tests.benchmarks.leaf_counts` runs the whole. Three gardens, three seasons, two trees: some 30
forecasts that are not independent of each other, so the tolerances are wide.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from phenology.learning.garden_fit import GardenFit
from phenology.learning.garden_leaves import GardenLeaves
from phenology.learning.leaf_counts import parse_counts
from tests.simulated.climates import CLIMATES
from tests.simulated.leaf_counts import CAREFUL, SLOPPY, compared, simulate, without_counts
from tests.simulated.study import crps

pytestmark = pytest.mark.slow


@cache
def gardens(counter):
    return [simulate(CLIMATES[c], counter, 60 + c, seasons=3, trees=2) for c in (1, 3, 5)]


@cache
def scored(counter):
    rows = [r for k, sim in enumerate(gardens(counter)) for r in compared(sim, k)]
    truth = np.array([r.truth for r in rows])
    plain, counted = (crps([getattr(r, name) for r in rows], truth) for name in ("plain", "counted"))
    q = np.array([r.counted for r in rows])
    return plain, counted, float(np.mean((q[:, 0] <= truth) & (truth <= q[:, 4])))


def test_counts_bring_forecasts_in_mid_flush_closer_and_the_range_still_holds():
    plain, counted, inside = scored(CAREFUL)
    assert len(plain) > 25
    assert counted.mean() < 0.95 * plain.mean()
    assert 0.65 <= inside <= 0.95


def test_sloppy_counts_do_no_harm():
    plain, counted, inside = scored(SLOPPY)
    assert counted.mean() < 1.02 * plain.mean()
    assert inside >= 0.65


@pytest.mark.parametrize("counter", [CAREFUL, SLOPPY], ids=lambda c: c.name)
def test_the_phyllochron_and_the_number_of_leaves_are_recovered(counter):
    pace, guess, number = [], [], []
    for sim in gardens(counter):
        leaves = GardenLeaves(GardenFit(sim.garden))
        habit = leaves.habit(sim.species)
        catalogue = leaves.fit.garden.species[sim.species]
        days = catalogue.prior("budbreak", "extended").days / np.sqrt(np.prod(catalogue.leaves))
        pace.append(np.log(habit.days_a_leaf[0] / sim.interval))
        guess.append(np.log(days / sim.interval))
        number.append(np.log(habit.leaves[0] / sim.leaves))
    assert np.sqrt(np.mean(np.square(pace))) < 0.5 * np.sqrt(np.mean(np.square(guess)))
    assert np.sqrt(np.mean(np.square(pace))) < 0.2
    assert np.sqrt(np.mean(np.square(number))) < 0.15


def test_a_garden_is_the_same_for_the_same_seed_and_its_counts_are_as_promised():
    one, again, sloppy = (simulate(CLIMATES[3], c, 4, seasons=2) for c in (CAREFUL, CAREFUL, SLOPPY))
    assert one.garden.looks == again.garden.looks
    assert {len(parse_counts(v.leaves)) for v in one.garden.looks if v.leaves} == {3}
    assert {len(parse_counts(v.leaves)) for v in sloppy.garden.looks if v.leaves} == {1}
    assert not any(v.leaves for v in without_counts(one.garden).looks)
    for flush in one.flushes:
        assert (np.diff(flush.unfolded) > 0).all()
        assert flush.unfolded[-1] < flush.stages.came["extended"] < flush.stages.came["hardened"]
