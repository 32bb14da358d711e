"""Clocks: a day at 18 degC counts one on all of them, and time never stands quite still."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from phenology.heat.clocks import (
    CALENDAR_SHARE,
    CLOCKS,
    DATE_CLOCK,
    DAYS_CLOCK,
    HEAT_CLOCKS,
    LENGTHENING_CLOCK,
    LIGHT_CLOCK,
    SHORTENING_CLOCK,
    USUAL_WEIGHTS,
    Clock,
    accumulate,
)

FIVE = Clock("five", "sine", 5.0)


@pytest.mark.parametrize("clock", CLOCKS, ids=lambda c: c.name)
def test_a_day_at_18_counts_one(clock):
    assert_allclose(clock.rates(np.array([18.0]), np.array([18.0])), 1.0)


@pytest.mark.parametrize("clock", HEAT_CLOCKS, ids=lambda c: c.name)
def test_a_freezing_day_still_counts_a_little(clock):
    assert_allclose(clock.rates(np.array([-15.0]), np.array([-5.0])), CALENDAR_SHARE)


def test_heat_by_hand():
    # 10 degC held: 5 of the 13 degrees that 18 degC has above 5, and the calendar's share
    got = FIVE.rates(np.array([10.0]), np.array([10.0]))
    assert_allclose(got, 0.98 * 5 / 13 + 0.02)


def test_in_great_heat_only_the_falling_response_stands_still():
    flat, falling = Clock("flat", "sine", 4.0), Clock("falling", "falling", 4.0)
    hot = (np.array([42.0]), np.array([45.0]))
    assert flat.rates(*hot)[0] > 2.5
    assert_allclose(falling.rates(*hot), CALENDAR_SHARE)


@pytest.mark.parametrize("clock", CLOCKS, ids=lambda c: c.name)
def test_an_unknown_day_stays_unknown(clock):
    got = clock.rates(np.array([np.nan, 10.0, 10.0]), np.array([20.0, np.nan, 20.0]))
    assert np.isnan(got).tolist() == [True, True, False]


@pytest.mark.parametrize("clock", [c for c in CLOCKS if c.kind == "sine"], ids=lambda c: c.name)
def test_a_degree_is_worth_what_per_degree_says(clock):
    warm = clock.rates(np.array([19.0]), np.array([19.0])) - clock.rates(np.array([18.0]), np.array([18.0]))
    assert_allclose(warm, clock.per_degree)


@pytest.mark.parametrize("clock", [DAYS_CLOCK, DATE_CLOCK], ids=lambda c: c.name)
def test_the_calendar_does_not_feel_a_degree(clock):
    assert clock.by_calendar and clock.per_degree == 0
    assert_allclose(clock.rates(np.array([-9.0, 30.0]), np.array([1.0, 38.0])), 1.0)


BOTH = [LIGHT_CLOCK, SHORTENING_CLOCK]


@pytest.mark.parametrize("clock", BOTH, ids=lambda c: c.name)
def test_a_clock_of_short_days_runs_faster_the_shorter_they_are(clock):
    low, high = np.full(4, 12.0), np.full(4, 24.0)
    rates = clock.rates(low, high, np.array([16.0, 14.0, 13.0, 4.0]))
    usual = clock.rates(low, high)
    assert_allclose(rates[1], usual[1])  # fourteen hours are its usual day
    assert_allclose(rates[2] / rates[1], np.exp(0.2))
    assert (np.diff(rates) > 0).all()
    assert rates[3] < 4 * rates[1]  # in a polar winter it does not run away


def test_spring_heat_counts_for_more_as_days_lengthen():
    low, high = np.full(3, 8.0), np.full(3, 18.0)
    rates = LENGTHENING_CLOCK.rates(low, high, np.array([9.0, 12.0, 14.0]))
    assert_allclose(rates[1], LENGTHENING_CLOCK.rates(low, high)[0])
    assert_allclose(rates / rates[1], np.exp([-0.9, 0.0, 0.6]))


def test_heat_in_short_days_still_needs_heat():
    cold = SHORTENING_CLOCK.rates(np.array([-5.0]), np.array([0.0]), np.array([10.0]))
    assert cold[0] < 0.05
    assert_allclose(LIGHT_CLOCK.rates(np.array([-5.0]), np.array([0.0]), np.array([14.0])), 1.0)


@pytest.mark.parametrize("clock", [c for c in CLOCKS if not c.by_light], ids=lambda c: c.name)
def test_other_clocks_do_not_see_the_light(clock):
    low, high = np.array([9.0, 12.0]), np.array([20.0, 30.0])
    assert_allclose(clock.rates(low, high, np.array([10.0, 18.0])), clock.rates(low, high))


@given(days=st.integers(1, 60), seed=st.integers(0, 99))
def test_wound_together_clocks_read_as_each_alone(days, seed):
    rng = np.random.default_rng(seed)
    low = rng.uniform(-10, 20, (2, days))
    high, hours = low + rng.uniform(0, 15, low.shape), rng.uniform(6, 20, days)
    sums = accumulate(low, high, CLOCKS, hours).sums
    for k, clock in enumerate(CLOCKS):
        assert_allclose(sums[:, k, 1:], np.cumsum(clock.rates(low, high, hours), axis=-1))


@given(days=st.integers(1, 60), traces=st.integers(1, 3), seed=st.integers(0, 99))
def test_hands_add_up_the_rates(days, traces, seed):
    rng = np.random.default_rng(seed)
    tmin = rng.uniform(-10, 20, (traces, days))
    tmax = tmin + rng.uniform(0, 15, tmin.shape)
    thermal_time = accumulate(tmin, tmax)
    assert thermal_time.days == days
    assert thermal_time.sums.shape == (traces, len(CLOCKS), days + 1)
    assert (np.diff(thermal_time.sums, axis=-1) > 0).all()
    assert_allclose(thermal_time.sums[:, 2, -1], CLOCKS[2].rates(tmin, tmax).sum(-1))


def test_hands_run_evenly_within_a_day_and_stop_at_the_ends():
    thermal_time = accumulate(np.array([18.0, 18.0, 31.0]), np.array([18.0, 18.0, 31.0]), [FIVE])
    assert_allclose(thermal_time.at(np.array([0.5, 2.0, 2.5])), [[0.5, 2.0, 2.0 + 0.5 * (0.98 * 2 + 0.02)]])
    assert_allclose(thermal_time.at(-3.0), 0.0)
    assert_allclose(thermal_time.at(9.0), thermal_time.at(3.0))


def test_no_days_at_all_wind_nothing():
    assert accumulate(np.empty((2, 0)), np.empty((2, 0))).sums.shape == (2, len(CLOCKS), 1)


def test_prior_weights_of_the_clocks_sum_to_one():
    assert len(USUAL_WEIGHTS) == len(CLOCKS)
    assert_allclose(sum(USUAL_WEIGHTS), 1)
