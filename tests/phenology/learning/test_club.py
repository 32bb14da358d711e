"""What other gardens teach: a meta-analysis with a random effect of the garden, on each clock."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.clocks import CLOCKS
from phenology.learning.beliefs import beliefs
from phenology.learning.club import GARDENS, Club, unlikeness
from phenology.learning.effect_columns import COMMON_SD, LATER_SD, YIELDS
from phenology.learning.requirement import RequirementModel
from phenology.model.shared_calibration import (
    Reading,
    SharedCalibration,
    SharedClimate,
    SharedStep,
    SharedWait,
)

HERE = SharedClimate(48, -1.0, 19.0)
THERE = SharedClimate(28, 14.0, 28.0)
PRIOR = (20.0, 0.4)
HEAT = next(k for k, clock in enumerate(CLOCKS) if clock.name == "heat above 5")


def told(days: float, sd: float = 0.1, climate: SharedClimate = HERE, species: str = "A", **step):
    readings = {clock.name: Reading(math.log(days), sd) for clock in CLOCKS}
    shared = SharedStep(
        "budbreak", "extended", step.get("clocks", {}), step.get("later", {}),
        (SharedWait(species, 3, 2, 40, readings),),
    )  # fmt: skip
    return SharedCalibration(f"{days}{climate}", f"{days:g}", climate, (shared,)), shared


def club(*gardens, all_later: bool = False) -> Club:
    return Club(list(gardens), HERE, lambda species: PRIOR, all_later=all_later)


def days(of: Club, species: str = "A") -> float:
    return math.exp(of.belief(species).mean[HEAT])


def sd(of: Club, species: str = "A") -> float:
    """How far this garden's trees may lie from what is believed, all told."""
    return math.sqrt(of.belief(species).variance[HEAT] + of.common[HEAT])


def test_one_garden_outweighs_the_catalogue_and_five_that_agree_leave_little_doubt():
    one, five = club(told(30.0)), club(*(told(d) for d in (29.0, 30.0, 30.0, 31.0, 30.5)))
    assert 29 < days(one) < 30 and 29.5 < days(five) < 30.5
    assert sd(five) < sd(one) < PRIOR[1]
    assert five.belief("A").catalogue < one.belief("A").catalogue < 0.1


def test_what_no_garden_speaks_of_is_the_catalogue_s():
    other = club(told(30.0)).belief("B")
    assert_allclose(np.exp(other.mean), PRIOR[0])
    assert other.catalogue == 1.0
    assert_allclose(other.variance[HEAT] + club(told(30.0)).common[HEAT], PRIOR[1] ** 2 + COMMON_SD**2)


def test_gardens_that_disagree_leave_more_doubt_from_three_on():
    near, far = (24.0, 25.0, 26.0), (17.0, 25.0, 37.0)
    assert sd(club(*map(told, far))) > 1.5 * sd(club(*map(told, near)))
    two = club(told(17.0), told(37.0))
    assert_allclose(two.between[:, HEAT], [share for _, share in GARDENS])


def test_the_belief_is_that_of_the_sum_over_all_its_unknowns():
    """Against brute force: the species' deviation on a grid, the spread of gardens one by one."""
    said, errors = np.log([24.0, 31.0, 27.0]), np.array([0.1, 0.2, 0.05])
    mine = club(*(told(float(np.exp(m)), float(s)) for m, s in zip(said, errors, strict=True)))
    before = math.sqrt(PRIOR[1] ** 2 + YIELDS**2 + COMMON_SD**2)
    x = np.log(PRIOR[0]) + before * np.linspace(-6, 6, 40001)
    mass, mean, square = [], [], []
    for spread, share in GARDENS:
        log = -0.5 * ((x - np.log(PRIOR[0])) / before) ** 2
        for m, s in zip(said, errors, strict=True):
            log = log - 0.5 * (m - x) ** 2 / (s**2 + spread**2) - 0.5 * np.log(s**2 + spread**2)
        density = np.exp(log)
        mass.append(share * density.sum())
        mean.append(density @ x / density.sum())
        square.append(density @ x**2 / density.sum() + spread**2)
    weight = np.array(mass) / sum(mass)
    assert_allclose(mine.belief("A").mean[HEAT], weight @ mean, atol=1e-6)
    assert_allclose(sd(mine) ** 2, weight @ square - (weight @ mean) ** 2, rtol=1e-5)


def test_a_garden_in_another_climate_counts_less():
    assert unlikeness(HERE, HERE) == 0 and unlikeness(HERE, THERE) > 2
    south = SharedClimate(-48, -1.0, 19.0)
    assert unlikeness(HERE, south) == 0
    both = club(told(30.0), told(20.0, climate=THERE))
    here, there = both.weights("A")
    assert here > 2 * there and here + there == pytest.approx(1)
    assert days(both) > 26
    assert sd(club(told(30.0, climate=THERE))) > sd(club(told(30.0)))


def test_one_wild_garden_among_five_moves_little():
    wild, tame = (club(*(told(d) for d in (30.0, 29.0, 31.0, 30.0, last))) for last in (120.0, 30.0))
    assert abs(math.log(days(wild) / days(tame))) < 0.35
    assert sd(wild) > sd(tame)


def test_a_clock_that_nobody_read_keeps_the_catalogue_s_doubt():
    shared, step = told(30.0)
    step.waits[0].readings.pop("plain days")  # type: ignore[attr-defined]
    silent = next(k for k, clock in enumerate(CLOCKS) if clock.name == "plain days")
    found = club((shared, step))
    assert_allclose(np.exp(found.belief("A").mean[silent]), PRIOR[0])
    catalogue = beliefs(("A",), lambda species: PRIOR, CLOCKS)
    whole = found.belief("A").variance[silent] + found.common[silent]
    assert whole <= catalogue.species[silent, 0] + catalogue.common[silent] + GARDENS[-1][0] ** 2


def test_clocks_are_chosen_by_others_looks_as_far_as_climates_are_alike():
    leans = {clock.name: 1.0 if clock.name == "heat above 0" else 0.1 for clock in CLOCKS}
    here, there = (club(told(30.0, climate=c, clocks=leans)).clock_factors for c in (HERE, THERE))
    assert here[0] == there[0] == 1.0
    assert 0.1 < here[HEAT] < there[HEAT] < 1.0


def test_what_a_later_flush_takes_more_is_learned_too():
    later = {clock.name: Reading(math.log(1.3), 0.05) for clock in CLOCKS}
    mean, variance = club(told(30.0, later=later), told(30.0, later=later)).later
    assert 1.2 < math.exp(mean[HEAT]) < 1.3 and variance[HEAT] < LATER_SD**2
    assert club(told(30.0)).later[1][HEAT] == LATER_SD**2


def test_the_first_forecast_of_a_new_garden_is_the_club_s_and_no_more_than_that():
    model = RequirementModel(lambda species: PRIOR, club=club(*(told(30.0) for _ in range(5))))
    mine = model.fit([], {}).predict("A", "t", 2026, False, 100.0, lean=False)
    alone = (
        RequirementModel(lambda species: PRIOR).fit([], {}).predict("A", "t", 2026, False, 100.0, lean=False)
    )
    assert_allclose(np.exp(mine.mean), 30.0, rtol=0.02)
    assert mine.variance.mean() < 0.6 * alone.variance.mean()
    assert (mine.variance > GARDENS[0][0] ** 2).all()
