"""What was learned, as it is told: requirement with its interval, expected error, share of the prior."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.clocks import CLOCKS, DAYS_CLOCK, Clock
from phenology.learning.calibration import average_requirement, calibrate, expected_error
from phenology.learning.garden_fit import GardenFit
from phenology.learning.prediction import Prediction
from phenology.learning.transitions import Transition
from tests.phenology.gardens import ELM, MAPLE, Records
from tests.phenology.worlds import a_wait, fit, simulated_waits

END = date(2020, 12, 31)
STEP = Transition("extended", "hardened")


def nursery(*seasons: int) -> Records:
    records = Records()
    records.tree("elm")
    records.tree("maple", MAPLE)
    for i, season in enumerate(seasons):
        shift = (0, 4, -3, 6, 1)[i % 5]
        records.a_season("elm", season, 100 + shift, 130 + shift, 160 + shift)
    return records


def told(records: Records, species=None):
    return {(c.species, c.transition): c for c in calibrate(GardenFit(records.garden(END)), species)}


def test_only_what_is_on_record_is_told_unless_a_species_is_asked_for():
    all_told = told(nursery(2017, 2018))
    assert {s for s, _ in all_told} == {ELM}
    assert {t for _, t in all_told} == {
        Transition("start", "budbreak"), Transition("budbreak", "extended"), STEP
    }  # fmt: skip
    asked = told(nursery(2017, 2018), MAPLE)
    assert {s for s, _ in asked} == {MAPLE}
    assert asked[MAPLE, STEP].seasons == 0


def test_looks_seasons_and_unfinished_waits_are_counted():
    records = nursery(2017, 2018)
    flush = records.flush("elm", 2019)
    for n, stage in ((130, "extending"), (134, "extended"), (150, "extended")):
        records.look(flush, n, stage)
    c = told(records)[ELM, STEP]
    assert (c.looks, c.seasons, c.unfinished) == (15, 2, 1)


def test_seasons_narrow_the_average_and_push_the_prior_back():
    few, many = (told(nursery(*range(2019 - n, 2019)))[ELM, STEP] for n in (1, 6))
    for c in (few, many):
        middle, low, high = c.days
        assert low < middle < high
    assert np.log(many.days[2] / many.days[1]) < np.log(few.days[2] / few.days[1])
    assert many.prior_share < few.prior_share < 1
    assert many.error_days < few.error_days
    assert 0 < many.clock_share <= 1 and many.clock in {c.name for c in CLOCKS}


def test_a_species_never_seen_keeps_the_catalogues_days():
    c = told(nursery(), ELM)[ELM, STEP]
    assert_allclose(c.days[0], c.prior_days, rtol=1e-6)
    assert c.prior_share == 1


def test_the_average_is_that_of_the_trees_on_plain_days_by_hand():
    waits = [a_wait(s, 148, 152, tree=f"t{k}") for s in range(2000, 2012) for k in range(4)]
    middle, low, high = average_requirement(fit(waits, (30.0, 0.4), (DAYS_CLOCK,)), "A")
    assert_allclose(middle, 30, rtol=0.01)
    assert 0 < np.log(high / low) < 0.2


def test_the_average_is_surer_than_any_one_season():
    waits = [a_wait(s, 146 + s % 5, 150 + s % 5, tree=f"t{k}") for s in range(2000, 2012) for k in range(4)]
    requirement = fit(waits, (30.0, 0.4), (DAYS_CLOCK,))
    _, low, high = average_requirement(requirement, "A")
    new = requirement.predict("A", "new", 2013, False, 120.0)
    sd = np.sqrt(new.weight @ new.variance)
    assert np.log(high / low) < 0.6 * 2 * 1.2816 * sd


@pytest.mark.parametrize("median, log_sd", [(30.0, 0.1), (50.0, 0.3)])
def test_the_expected_error_is_the_mean_distance_from_the_median(median, log_sd):
    one = Prediction(np.ones(1), np.zeros(1, dtype=int), np.log([median]), np.array([log_sd**2]))
    draws = median * np.exp(log_sd * np.random.default_rng(0).normal(size=400_000))
    assert_allclose(expected_error(one, 0), np.abs(draws - median).mean(), rtol=0.02)


def test_a_clock_that_no_draw_is_read_on_gives_way_to_the_likeliest():
    two = Prediction(np.array([0.3, 0.7]), np.array([1, 2]), np.log([10.0, 20.0]), np.array([0.01, 0.04]))
    assert expected_error(two, 0) == expected_error(two, 2) != expected_error(two, 1)


def test_a_requirement_is_told_by_one_clock_and_not_by_a_mixture_of_all():
    """Plain days and days at 18 degC differ several times over; mixed, the range would be absurd."""
    waits = simulated_waits(
        Clock("truth", "sine", 5.0), range(1996, 2001), trees=3, anchors=(90, 140), seed=5
    )
    requirement = fit(waits, (30.0, 0.4), temper=0.05)
    assert len({CLOCKS[c].kind for c in requirement.parts.clock}) > 1
    middle, low, high = average_requirement(requirement, "A")
    assert 0.8 * middle < low < middle < high < 1.25 * middle
