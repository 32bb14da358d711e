"""Stages as a chain of positive waits, against simulation, and what looks do to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import special

from phenology.forecasting.arrival import Arrival, arrival_of
from phenology.forecasting.chain import (
    MISJUDGED,
    NODE_LEVELS,
    NODE_WEIGHTS,
    curves_after,
    curves_from,
    lean,
    not_by,
    within,
)
from phenology.heat.clocks import CLOCKS, DATE_CLOCK, ThermalTime
from phenology.learning.requirement import Prediction
from phenology.weather.traces import draw_traces
from tests.phenology.forecasting.test_arrival import DAYS, draws, one_a_day
from tests.phenology.worlds import record

NO_GAP = np.zeros(366)


def dist(curves) -> Arrival:
    return Arrival(curves.mean(0))


def test_a_known_beginning_is_the_plain_arrival():
    prediction = draws(30, log_sd=0.2)
    got = curves_from(prediction, one_a_day(365), [100.0], DAYS, NO_GAP)
    wanted = arrival_of(prediction, one_a_day(365), 100.0, clocks=DAYS)
    assert_allclose(got[0], wanted.curve, atol=1e-12)


def test_an_uncertain_beginning_mixes_its_times():
    prediction = draws(30, log_sd=0.05)
    got = curves_from(prediction, one_a_day(365), [90.0, 110.0], DAYS, NO_GAP)
    singles = [curves_from(prediction, one_a_day(365), [t], DAYS, NO_GAP) for t in (90.0, 110.0)]
    assert_allclose(got, np.mean(singles, axis=0), atol=1e-12)


def drawn_world(issued: int = 110):
    traces = draw_traces(record().through(2015, issued), 2015, issued)
    rng = np.random.default_rng(5)
    k = len(CLOCKS) - 1  # all but the date, which has a start of its own
    weight = rng.dirichlet(np.ones(k))
    first = Prediction(weight, np.arange(k), np.log(25 + rng.normal(size=k)), np.full(k, 0.15**2))
    second = Prediction(weight, np.arange(k), np.log(20 + rng.normal(size=k)), np.full(k, 0.2**2))
    return traces.thermal_time(), first, second


def simulate(thermal_time, first, second, anchor, look=None, n=40_000, seed=9):
    """Draw trace and requirements at random, and step through the season."""
    rng = np.random.default_rng(seed)
    trace = rng.integers(len(thermal_time.sums), size=n)
    ends = [np.full(n, anchor)]
    day = np.arange(thermal_time.sums.shape[-1])
    for step in (first, second):
        draw = rng.choice(len(step.weight), size=n, p=step.weight)
        need = np.exp(step.mean[draw] + np.sqrt(step.variance[draw]) * rng.normal(size=n))
        came = np.empty(n)
        for i in range(n):
            sums = thermal_time.sums[trace[i], step.clock[draw[i]]]
            came[i] = np.interp(np.interp(ends[-1][i], day, sums) + need[i], sums, day, right=np.inf)
        ends.append(came)
    kept = np.ones(n, bool) if look is None else ends[1] > look
    return ends[1][kept], ends[2][kept]


@pytest.mark.parametrize("look", [None, 145.0])
def test_the_chain_agrees_with_simulation(look):
    thermal_time, first, second = drawn_world()
    extended = curves_from(first, thermal_time, [112.0], CLOCKS, NO_GAP)
    if look is not None:
        extended = not_by(extended, look)
    hardened = curves_after(second, thermal_time, extended, CLOCKS, NO_GAP)
    seen = simulate(thermal_time, first, second, 112.0, look)
    for curves, times in zip((extended, hardened), seen, strict=True):
        levels = (0.1, 0.25, 0.5, 0.75, 0.9)
        got, wanted = dist(curves).quantiles(levels), np.quantile(times, levels)
        reach = 0.03 * (wanted[-1] - wanted[0])
        assert_allclose(got, wanted, atol=reach + 0.3)
        assert_allclose(dist(curves).p_not, np.isinf(times).mean(), atol=0.01)


@given(
    first=st.floats(0.5, 60), second=st.floats(0.05, 60), log_sd=st.floats(0.02, 0.5), look=st.floats(90, 200)
)
@settings(max_examples=60, deadline=None)
def test_stages_never_cross(first, second, log_sd, look):
    thermal_time = one_a_day(365, traces=2)
    thermal_time.sums[1] *= 1.4
    extended = not_by(curves_from(draws(first, log_sd=log_sd), thermal_time, [95, 100], DAYS, NO_GAP), look)
    hardened = curves_after(draws(second, log_sd=log_sd), thermal_time, extended, DAYS, NO_GAP)
    hardened = not_by(hardened, look)
    for curves in (extended, hardened):
        assert np.isfinite(curves).all()
        assert (np.diff(curves, axis=1) >= -1e-12).all()
        assert curves.mean(0)[-1] <= 1 + 1e-9
    levels = np.linspace(0.02, 0.98, 25)
    for level in levels:
        assert dist(extended).quantile(level) <= dist(hardened).quantile(level) + 1e-6


def test_a_wait_that_begins_after_its_usual_end_does_not_end_at_once():
    clocks = (DATE_CLOCK,)
    by_date = replace(draws(30, log_sd=0.2), usual=100.0)
    late = dist(curves_from(by_date, one_a_day(365), [300.0], clocks, NO_GAP))
    own = dist(curves_from(draws(30, log_sd=0.2), one_a_day(365), [300.0], DAYS, NO_GAP))
    assert_allclose(late.curve, own.curve, atol=1e-6)
    usual = dist(curves_from(by_date, one_a_day(365), [110.0], clocks, NO_GAP))
    assert usual.quantile(0.5) == pytest.approx(130, abs=0.2)  # within its usual time the date holds


def test_a_date_keeps_its_day_in_the_chain_until_that_is_past():
    thermal_time = one_a_day(365)
    usual = replace(draws(40, log_sd=0.05), usual=100.0)
    for began, wanted in ((90.0, 140.0), (120.0, 140.0), (160.0, 201.0)):
        extended = curves_from(draws(1, log_sd=0.1), thermal_time, [began], DAYS, NO_GAP)
        hardened = curves_after(usual, thermal_time, extended, (DATE_CLOCK,), NO_GAP)
        assert_allclose(dist(hardened).quantile(0.5), wanted, atol=1.5)
        assert (hardened <= extended + 1e-12).all()


def test_a_stage_that_may_not_come_holds_back_the_next():
    thermal_time = one_a_day(365)
    extended = curves_from(draws(100, log_sd=0.2), thermal_time, [265.0], DAYS, NO_GAP)
    hardened = curves_after(draws(5, log_sd=0.2), thermal_time, extended, DAYS, NO_GAP)
    assert_allclose(dist(extended).p_not, 0.5, atol=0.01)
    assert dist(hardened).p_not > dist(extended).p_not


def test_two_draws_of_300_and_500_not_yet_at_400():
    curves = curves_from(draws(300, 500), one_a_day(900), [0.0], DAYS, np.zeros(901))
    after = dist(not_by(curves, 400))
    assert_allclose(after.quantile(0.5), 501, atol=1.5)
    assert after.chance_by(400) == 0


def test_a_look_weighs_the_traces_too():
    thermal_time = one_a_day(365, traces=2)
    thermal_time.sums[1] *= 2  # a season twice as warm, in which it would have come by day 150
    curves = not_by(curves_from(draws(100, log_sd=0.05), thermal_time, [100.0], DAYS, NO_GAP), 170.0)
    mass = curves[:, -1] / 2
    assert_allclose(mass.sum(), 1, atol=1e-9)
    assert mass[0] > 0.98


def test_a_look_is_wrong_once_in_a_hundred():
    curves = curves_from(draws(40, log_sd=0.3), one_a_day(365), [100.0], DAYS, NO_GAP)
    come = dist(curves).chance_by(145)
    after = dist(not_by(curves, 145.0))
    wrong = MISJUDGED * come / (MISJUDGED * come + (1 - MISJUDGED) * (1 - come))
    # what had come all the same is due at once, beside what was due that day
    right = (dist(curves).chance_by(146) - come) / (1 - come)
    assert_allclose(after.chance_by(146), wrong + (1 - wrong) * right, rtol=1e-9)


@pytest.mark.parametrize("look", [200.0, 300.0, 365.0])
def test_a_look_that_contradicts_everything_makes_it_due(look):
    curves = curves_from(draws(30, log_sd=0.02), one_a_day(365), [100.0], DAYS, NO_GAP)
    after = not_by(curves, look)
    assert np.isfinite(after).all()
    if look < 365:
        assert look < dist(after).quantile(0.5) <= look + 1
        hardened = curves_after(draws(10, log_sd=0.1), one_a_day(365), after, DAYS, NO_GAP)
        assert_allclose(dist(hardened).quantile(0.5), look + 10.5, atol=1)


def test_a_look_before_the_season_says_nothing():
    curves = curves_from(draws(30), one_a_day(365), [100.0], DAYS, NO_GAP)
    assert_allclose(not_by(curves, -3.0), curves)


def test_lean_keeps_every_clocks_weight_mean_and_variance():
    rng = np.random.default_rng(1)
    whole = Prediction(
        rng.dirichlet(np.ones(12)),
        np.arange(12) % 3,
        rng.normal(3, 0.02, 12),
        rng.uniform(0.01, 0.05, 12),
    )
    few = lean(whole)  # means lie well within the spread
    assert few.clock.tolist() == [0, 1, 2]
    for c in range(3):
        mine = whole.clock == c
        w = whole.weight[mine]
        mean = np.average(whole.mean[mine], weights=w)
        square = np.average(whole.variance[mine] + whole.mean[mine] ** 2, weights=w)
        assert_allclose([few.weight[c], few.mean[c]], [w.sum(), mean])
        assert_allclose(few.variance[c], square - mean**2)


def test_lean_leaves_apart_what_a_look_may_tell_apart():
    assert len(lean(draws(300, 500)).weight) == 2
    assert len(lean(draws(300, 310)).weight) == 1


def test_the_nodes_are_those_of_gauss_and_hermite():
    nodes, weights = np.polynomial.hermite_e.hermegauss(5)
    assert_allclose(NODE_WEIGHTS, weights / weights.sum(), atol=1e-7)
    assert_allclose(NODE_LEVELS, special.ndtr(nodes), atol=1e-6)


def test_the_third_stage_keeps_its_whole_spread_into_the_tails():
    step = draws(30, log_sd=0.15)
    curves = curves_from(step, one_a_day(365), [50.0], DAYS, NO_GAP)
    for _ in range(2):
        curves = curves_after(step, one_a_day(365), curves, DAYS, NO_GAP)
    summed = 50 + 30 * np.exp(0.15 * np.random.default_rng(0).normal(size=(3, 400_000))).sum(0)
    for level in (0.02, 0.05, 0.25, 0.5, 0.75, 0.95, 0.98):
        assert dist(curves).quantile(level) == pytest.approx(np.quantile(summed, level), abs=0.4)


# Within an interval


def test_within_a_wide_interval_the_curves_say_when():
    """An event expected on day 110, seen to come between 100 and 140, came about 110 rather than 120."""
    curves = curves_from(draws(10, log_sd=0.3), one_a_day(365), [100.0], DAYS, NO_GAP)
    inside = dist(within(curves, 100.0, 140.0))
    assert inside.chance_by(100) == 0 and inside.chance_by(140) == pytest.approx(1)
    assert_allclose(inside.quantile(0.5), 110, atol=1)


def test_an_interval_the_curves_do_not_allow_is_taken_as_it_is():
    curves = curves_from(draws(10, log_sd=0.05), one_a_day(365), [100.0], DAYS, NO_GAP)
    inside = dist(within(curves, 200.0, 220.0))
    assert_allclose([inside.quantile(q) for q in (0.25, 0.5, 0.75)], [205, 210, 215], atol=0.5)


def test_an_interval_weighs_the_traces():
    thermal_time = one_a_day(365, traces=2)
    thermal_time.sums[1] *= 2  # there the event comes by day 150
    curves = within(curves_from(draws(100, log_sd=0.05), thermal_time, [100.0], DAYS, NO_GAP), 190.0, 210.0)
    mass = curves[:, -1] / 2
    assert_allclose(mass.sum(), 1, atol=1e-9)
    assert mass[0] > 0.9


# The chain against the whole recursion


def recursion(prediction, thermal_time, before, parts=4):
    """A stage's curves from all times of the one before, on a grid of quarter days: slow and exact."""
    days = np.arange(before.shape[1])
    grid = np.arange(0, days[-1] + 1e-9, 1 / parts)
    out = np.zeros_like(before)
    for k, curve in enumerate(before):
        mass = np.diff(np.interp(grid, days, curve))
        middle = (grid[1:] + grid[:-1]) / 2
        for t, share in zip(middle[mass > 1e-7], mass[mass > 1e-7], strict=True):
            one = ThermalTime(thermal_time.sums[k : k + 1])
            out[k] += share * curves_from(prediction, one, [t], CLOCKS, NO_GAP)[0]
    return out


@pytest.mark.parametrize("look", [None, 145.0])
def test_stages_in_a_row_agree_with_the_whole_recursion(look):
    """To less than a sixth of a day, between the levels that are shown."""
    thermal_time, first, second = drawn_world()
    thermal_time = ThermalTime(thermal_time.sums[::10])
    budbreak = curves_from(first, thermal_time, [112.0], CLOCKS, NO_GAP)
    if look is not None:
        budbreak = not_by(budbreak, look)
    quick, whole = budbreak, budbreak
    for step in (second, replace(second, variance=second.variance * 2)):
        quick = curves_after(step, thermal_time, quick, CLOCKS, NO_GAP)
        whole = recursion(step, thermal_time, whole)
        assert_allclose(dist(quick).quantiles(), dist(whole).quantiles(), atol=0.15)
