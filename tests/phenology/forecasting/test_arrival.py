"""Arrival curves: from requirement draws and traces to quantiles, and what a look does to them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.special import ndtr

from phenology.forecasting.arrival import LEVELS, Arrival, arrival_of, trace_curves
from phenology.heat.clocks import DATE_CLOCK, DAYS_CLOCK, Clock, ThermalTime
from phenology.learning.requirement import Prediction

DAYS = (DAYS_CLOCK,)


def draws(*medians: float, log_sd: float = 0.1, clock: int = 0) -> Prediction:
    k = len(medians)
    return Prediction(np.full(k, 1 / k), np.full(k, clock), np.log(medians), np.full(k, log_sd**2))


def one_a_day(days: int, traces: int = 1) -> ThermalTime:
    return ThermalTime(np.tile(np.arange(days + 1.0), (traces, 1, 1)))


def test_two_draws_of_300_and_500_not_yet_at_400():
    arrival = arrival_of(draws(300, 500), one_a_day(900), 0.0, clocks=DAYS)
    later = arrival.given_not_by(400)
    # by hand: of the two only the slow one is still possible to speak of
    weight = 1 - ndtr(np.log(400 / np.array([300, 500])) / 0.1)
    t = np.arange(401, 900)
    left = sum(w / weight.sum() * (ndtr(np.log(t / m) / 0.1) - (1 - w)) / w
               for w, m in zip(weight, (300, 500), strict=True))  # fmt: skip
    by_hand = np.interp(0.5, left, t)
    assert_allclose(by_hand, 501, atol=1)
    assert_allclose(later.quantile(0.5), by_hand, atol=0.1)
    # averaging the two truncated medians would have said about 433
    assert later.quantile(0.5) > 490


def test_one_draw_on_plain_days_is_its_log_normal():
    arrival = arrival_of(draws(30, log_sd=0.2), one_a_day(365), 100.0, clocks=DAYS)
    z = np.array([-1.2815516, -0.6744898, 0, 0.6744898, 1.2815516])
    assert_allclose(arrival.quantiles(), 100 + 30 * np.exp(0.2 * z), atol=0.05)
    assert_allclose(arrival.chance_by(130), 0.5, atol=1e-3)
    assert arrival.p_not < 1e-6


@pytest.mark.parametrize("anchor", [-6.5, -1.0, 0.0])
def test_a_wait_may_begin_before_its_season(anchor):
    arrival = arrival_of(draws(30, log_sd=0.2), one_a_day(365), anchor, clocks=DAYS)
    assert_allclose(arrival.quantile(0.5), 30, atol=0.1)  # clocks start with the season
    assert (arrival.curve[1:] > 0).any() and arrival.p_not < 1e-6


def test_a_wait_that_outlasts_the_season_may_not_end():
    arrival = arrival_of(draws(100, log_sd=0.2), one_a_day(365), 265.0, clocks=DAYS)
    assert_allclose(arrival.p_not, 0.5, atol=1e-3)
    assert np.isinf(arrival.quantile(0.75))
    assert arrival.quantile(0.25) < 365


def test_a_wait_that_begins_after_the_last_day_does_not_end_in_it():
    assert arrival_of(draws(10), one_a_day(365), 365.0, clocks=DAYS).p_not == 1


def test_traces_are_mixed_not_averaged():
    sums = np.stack([np.arange(366.0), 2 * np.arange(366.0)])[:, None]
    arrival = arrival_of(draws(100, log_sd=0.01), ThermalTime(sums), 0.0, clocks=DAYS)
    assert_allclose(arrival.chance_by(75), 0.5, atol=1e-6)  # between the two, nothing comes
    assert_allclose([arrival.quantile(0.25), arrival.quantile(0.75)], [50, 100], atol=0.5)
    curves = trace_curves(draws(100, log_sd=0.01), ThermalTime(sums), 0.0, clocks=DAYS)
    assert_allclose(curves.mean(0), arrival.curve)


def test_each_draw_is_read_on_its_own_clock():
    sums = np.stack([np.arange(366.0), 2 * np.arange(366.0)])[None]
    two = Prediction(np.array([0.5, 0.5]), np.array([0, 1]), np.log([100.0, 100.0]), np.full(2, 1e-4))
    arrival = arrival_of(two, ThermalTime(sums), 0.0, clocks=(DAYS_CLOCK, DAYS_CLOCK))
    assert_allclose([arrival.quantile(0.25), arrival.quantile(0.75)], [50, 100], atol=0.5)


@pytest.mark.parametrize("anchor", [80.0, 100.0, 125.0])
def test_a_date_does_not_move_with_the_beginning(anchor):
    usual = replace(draws(40, log_sd=0.1), usual=100.0)
    arrival = arrival_of(usual, one_a_day(365), anchor, clocks=(DATE_CLOCK,))
    assert_allclose(arrival.quantile(0.5), 140, atol=0.1)
    assert arrival.chance_by(anchor) == 0


def test_gaps_in_the_weather_widen_but_do_not_move():
    clock = (Clock("five", "sine", 5.0),)
    gap = np.zeros(366)
    gap[110:] = 4000.0
    plain = arrival_of(draws(60, log_sd=0.1), one_a_day(365), 100.0, clocks=clock)
    unsure = arrival_of(draws(60, log_sd=0.1), one_a_day(365), 100.0, clocks=clock, gap_variance=gap)
    width = [a.quantile(0.9) - a.quantile(0.1) for a in (plain, unsure)]
    assert width[1] > 1.2 * width[0]
    assert_allclose(unsure.quantile(0.5), plain.quantile(0.5), atol=0.2)
    # variance spent before the wait began is no longer there
    early = np.full(366, 4000.0)
    same = arrival_of(draws(60, log_sd=0.1), one_a_day(365), 100.0, clocks=clock, gap_variance=early)
    assert_allclose(same.curve, plain.curve)


@given(
    medians=st.lists(st.floats(5, 200), min_size=1, max_size=4),
    log_sd=st.floats(0.02, 0.6),
    anchor=st.floats(0, 200),
    look=st.floats(0, 1) | st.none(),
)
@settings(max_examples=60, deadline=None)
def test_quantiles_rise_and_nothing_is_left_before_a_look(medians, log_sd, anchor, look):
    arrival = arrival_of(draws(*medians, log_sd=log_sd), one_a_day(365), anchor, clocks=DAYS)
    if look is not None:
        at = np.floor(anchor + look * (365 - anchor))
        arrival = arrival.given_not_by(at)
        assert arrival.chance_by(at) == 0
        assert arrival.quantile(0.001) >= at
    assert np.isfinite(arrival.curve).all()
    assert (np.diff(arrival.curve) >= -1e-12).all()
    assert 0 <= arrival.p_not <= 1
    assert list(arrival.quantiles()) == sorted(arrival.quantiles())


def test_a_look_that_says_not_yet_never_brings_it_nearer():
    arrival = arrival_of(draws(30, log_sd=0.3), one_a_day(365), 100.0, clocks=DAYS)
    medians = [arrival.given_not_by(t).quantile(0.5) for t in range(100, 200, 5)]
    assert medians == sorted(medians)


def test_a_look_that_contradicts_everything_makes_it_due():
    arrival = arrival_of(draws(30, log_sd=0.01), one_a_day(365), 100.0, clocks=DAYS)
    later = arrival.given_not_by(300)
    assert np.isfinite(later.curve).all()
    assert 300 < later.quantile(0.5) <= 301


def test_with_a_chance_of_slips_a_little_stays_before_the_look():
    arrival = arrival_of(draws(30, log_sd=0.2), one_a_day(365), 100.0, clocks=DAYS)
    later = arrival.given_not_by(140, slip=0.01)
    assert 0 < later.chance_by(140) < 0.011


def test_levels_are_those_of_the_scores():
    assert LEVELS == (0.10, 0.25, 0.50, 0.75, 0.90)


def test_quantiles_of_a_curve_by_hand():
    assert_allclose(Arrival(np.array([0.2, 0.6, 1.0])).quantiles((0.1, 0.2, 0.4, 0.8)), [0, 0, 0.5, 1.5])
