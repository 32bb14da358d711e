"""Stages as a chain of positive waits, against simulation, and what looks do to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy import special

from phenology.forecasting.arrival import Arrival
from phenology.forecasting.propagation import (
    MISJUDGED,
    NODE_LEVELS,
    NODE_WEIGHTS,
    Chain,
    Step,
    not_by,
    propagate,
    within,
)
from phenology.heat.clocks import CLOCKS, DATE_CLOCK, DAYS_CLOCK, Clock, ThermalTime
from phenology.learning.prediction import Prediction
from phenology.learning.transitions import Transition
from phenology.weather.traces import draw_traces
from tests.phenology.worlds import record

DAYS = (DAYS_CLOCK,)
STAGES = ("budbreak", "extended", "hardened")


def draws(*medians: float, log_sd: float = 0.1, clock: int = 0) -> Prediction:
    k = len(medians)
    return Prediction(np.full(k, 1 / k), np.full(k, clock), np.log(medians), np.full(k, log_sd**2))


def one_a_day(days: int, traces: int = 1) -> ThermalTime:
    return ThermalTime(np.tile(np.arange(days + 1.0), (traces, 1, 1)))


def chain(begun, *predictions, on=None, seen=None, clocks=DAYS, gap=None, **more) -> list:
    """Curves of stages in a row; `begun` is a time or an interval, `seen` what looks say of each stage."""
    begun = begun if isinstance(begun, tuple) else (float(begun), float(begun))
    starts = ("work", *STAGES)
    steps = [
        Step(Transition(start, stage), lambda began, p=prediction: p, (seen or {}).get(stage, NOTHING))
        for start, stage, prediction in zip(starts, STAGES, predictions, strict=False)
    ]
    return propagate([Chain(begun, steps)], on or one_a_day(365), gap, clocks=clocks, **more)[0]


NOTHING = (-np.inf, np.inf)


def dist(curves) -> Arrival:
    return Arrival(curves.mean(0))


# One wait


def test_one_draw_on_plain_days_is_its_log_normal():
    arrival = dist(chain(100, draws(30, log_sd=0.2))[0])
    z = np.array([-1.2815516, -0.6744898, 0, 0.6744898, 1.2815516])
    assert_allclose(arrival.quantiles(), 100 + 30 * np.exp(0.2 * z), atol=0.05)
    assert_allclose(arrival.chance_by(130), 0.5, atol=1e-3)
    assert arrival.p_not < 1e-6


@pytest.mark.parametrize("began", [-6.5, -1.0, 0.0])
def test_a_wait_may_begin_before_its_season(began):
    arrival = dist(chain(began, draws(30, log_sd=0.2))[0])
    assert_allclose(arrival.quantile(0.5), 30, atol=0.1)  # clocks start with the season
    assert (arrival.curve[1:] > 0).any() and arrival.p_not < 1e-6


def test_a_wait_that_outlasts_the_season_may_not_end():
    arrival = dist(chain(265, draws(100, log_sd=0.2))[0])
    assert_allclose(arrival.p_not, 0.5, atol=1e-3)
    assert np.isinf(arrival.quantile(0.75))
    assert arrival.quantile(0.25) < 365


def test_a_wait_that_begins_after_the_last_day_does_not_end_in_it():
    assert dist(chain(365, draws(10))[0]).p_not == 1


def test_traces_are_mixed_not_averaged():
    sums = np.stack([np.arange(366.0), 2 * np.arange(366.0)])[:, None]
    arrival = dist(chain(0, draws(100, log_sd=0.01), on=ThermalTime(sums))[0])
    assert_allclose(arrival.chance_by(75), 0.5, atol=1e-6)  # between the two, nothing comes
    assert_allclose([arrival.quantile(0.25), arrival.quantile(0.75)], [50, 100], atol=0.5)


def test_each_draw_is_read_on_its_own_clock():
    sums = np.stack([np.arange(366.0), 2 * np.arange(366.0)])[None]
    two = Prediction(np.array([0.5, 0.5]), np.array([0, 1]), np.log([100.0, 100.0]), np.full(2, 1e-4))
    arrival = dist(chain(0, two, on=ThermalTime(sums), clocks=(DAYS_CLOCK, DAYS_CLOCK))[0])
    assert_allclose([arrival.quantile(0.25), arrival.quantile(0.75)], [50, 100], atol=0.5)


@pytest.mark.parametrize("began", [80.0, 100.0, 125.0])
def test_a_date_does_not_move_with_the_beginning(began):
    usual = replace(draws(40, log_sd=0.1), usual=100.0)
    arrival = dist(chain(began, usual, clocks=(DATE_CLOCK,))[0])
    assert_allclose(arrival.quantile(0.5), 140, atol=0.1 if began <= 100 else 0.6)
    assert arrival.chance_by(began) == 0


def test_gaps_in_the_weather_widen_but_do_not_move():
    clock = (Clock("five", "sine", 5.0),)
    gap = np.zeros(366)
    gap[110:] = 4000.0
    plain = dist(chain(100, draws(60, log_sd=0.1), clocks=clock)[0])
    unsure = dist(chain(100, draws(60, log_sd=0.1), clocks=clock, gap=gap)[0])
    width = [a.quantile(0.9) - a.quantile(0.1) for a in (plain, unsure)]
    assert width[1] > 1.2 * width[0]
    assert_allclose(unsure.quantile(0.5), plain.quantile(0.5), atol=0.2)
    # variance spent before the wait began is no longer there
    early = np.full(366, 4000.0)
    same = dist(chain(100, draws(60, log_sd=0.1), clocks=clock, gap=early)[0])
    assert_allclose(same.curve, plain.curve, atol=1e-6)


def test_an_uncertain_beginning_mixes_its_likely_times():
    got = chain((90.0, 120.0), draws(30, log_sd=0.05))[0]
    singles = [chain(t, draws(30, log_sd=0.05))[0] for t in (95.0, 105.0, 115.0)]
    assert_allclose(got, np.mean(singles, axis=0), atol=1e-5)  # less than is left where curves end


@given(
    medians=st.lists(st.floats(5, 200), min_size=1, max_size=4),
    log_sd=st.floats(0.02, 0.6),
    began=st.floats(0, 200),
    look=st.floats(0, 1) | st.none(),
)
@settings(max_examples=60)
def test_quantiles_rise_and_little_is_left_before_a_look(medians, log_sd, began, look):
    at = -np.inf if look is None else np.floor(began + look * (364 - began))
    curves = chain(began, draws(*medians, log_sd=log_sd), seen={"budbreak": (at, np.inf)})[0]
    arrival = dist(curves)
    if look is not None:
        assert arrival.chance_by(at) == 0
        assert arrival.quantile(0.001) >= at
    assert np.isfinite(arrival.curve).all()
    assert (np.diff(arrival.curve) >= -1e-12).all()
    assert -1e-9 <= arrival.p_not <= 1
    assert list(arrival.quantiles()) == sorted(arrival.quantiles())


def test_a_look_that_says_not_yet_never_brings_it_nearer():
    medians = [
        dist(chain(100, draws(30, log_sd=0.3), seen={"budbreak": (t, np.inf)})[0]).quantile(0.5)
        for t in range(100, 200, 5)
    ]
    assert medians == sorted(medians)


# Waits in a row


def drawn_world(issued: int = 110):
    traces = draw_traces(record().through(2015, issued), 2015, issued)
    rng = np.random.default_rng(5)
    k = len(CLOCKS) - 1  # all but the date, which has a start of its own
    weight = rng.dirichlet(np.ones(k))
    first = Prediction(weight, np.arange(k), np.log(25 + rng.normal(size=k)), np.full(k, 0.15**2))
    second = Prediction(weight, np.arange(k), np.log(20 + rng.normal(size=k)), np.full(k, 0.2**2))
    return traces.thermal_time(), first, second


def simulate(thermal_time, first, second, anchor, look, n=40_000, seed=9):
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
    kept = ends[1] > look
    return ends[1][kept], ends[2][kept]


@pytest.mark.parametrize("look", [-np.inf, 145.0])
def test_the_chain_agrees_with_simulation(look):
    thermal_time, first, second = drawn_world()
    both = chain(112, first, second, on=thermal_time, seen={"budbreak": (look, np.inf)}, clocks=CLOCKS)
    seen = simulate(thermal_time, first, second, 112.0, look)
    for curves, times in zip(both, seen, strict=True):
        levels = (0.1, 0.25, 0.5, 0.75, 0.9)
        got, wanted = dist(curves).quantiles(levels), np.quantile(times, levels)
        reach = 0.03 * (wanted[-1] - wanted[0])
        assert_allclose(got, wanted, atol=reach + 0.3)
        assert_allclose(dist(curves).p_not, np.isinf(times).mean(), atol=0.01)


@given(
    first=st.floats(0.5, 60), second=st.floats(0.05, 60), log_sd=st.floats(0.02, 0.5), look=st.floats(90, 200)
)
@settings(max_examples=60)
def test_stages_never_cross(first, second, log_sd, look):
    thermal_time = one_a_day(365, traces=2)
    thermal_time.sums[1] *= 1.4
    not_yet = {"budbreak": (look, np.inf), "extended": (look, np.inf)}
    steps = draws(first, log_sd=log_sd), draws(second, log_sd=log_sd)
    extended, hardened = chain((92.5, 102.5), *steps, on=thermal_time, seen=not_yet)
    for curves in (extended, hardened):
        assert np.isfinite(curves).all()
        assert (np.diff(curves, axis=1) >= -1e-12).all()
        assert curves.mean(0)[-1] <= 1 + 1e-9
    levels = np.linspace(0.02, 0.98, 25)
    for level in levels:
        assert dist(extended).quantile(level) <= dist(hardened).quantile(level) + 1e-6


def test_a_wait_that_begins_after_its_usual_end_does_not_end_at_once():
    by_date = replace(draws(30, log_sd=0.2), usual=100.0)
    late = dist(chain(300, by_date, clocks=(DATE_CLOCK,))[0])
    own = dist(chain(300, draws(30, log_sd=0.2))[0])
    assert_allclose(late.curve, own.curve, atol=2e-4)
    usual = dist(chain(110, by_date, clocks=(DATE_CLOCK,))[0])
    assert usual.quantile(0.5) == pytest.approx(130, abs=0.2)  # within its usual time the date holds


def test_a_date_keeps_its_day_in_the_chain_until_that_is_past():
    usual = replace(draws(40, log_sd=0.05, clock=1), usual=100.0)
    two = ThermalTime(np.tile(one_a_day(365).sums, (1, 2, 1)))
    for began, wanted in ((90.0, 140.0), (120.0, 140.0), (160.0, 201.0)):
        extended, hardened = chain(
            began, draws(1, log_sd=0.1), usual, on=two, clocks=(DAYS_CLOCK, DATE_CLOCK)
        )
        assert_allclose(dist(hardened).quantile(0.5), wanted, atol=1.5)
        assert (hardened <= extended + 1e-12).all()


def test_a_stage_that_may_not_come_holds_back_the_next():
    extended, hardened = chain(265, draws(100, log_sd=0.2), draws(5, log_sd=0.2))
    assert_allclose(dist(extended).p_not, 0.5, atol=0.01)
    assert dist(hardened).p_not > dist(extended).p_not


# What looks do


def test_two_draws_of_300_and_500_not_yet_at_400():
    on, gap = one_a_day(900), np.zeros(901)
    after = dist(chain(0, draws(300, 500), on=on, gap=gap, seen={"budbreak": (400.0, np.inf)})[0])
    # by hand: of the two only the slow one is still possible to speak of; averaging the two truncated
    # medians would have said about 433
    assert_allclose(after.quantile(0.5), 501, atol=1.5)
    assert after.chance_by(400) == 0


def test_a_look_weighs_the_traces_too():
    thermal_time = one_a_day(365, traces=2)
    thermal_time.sums[1] *= 2  # a season twice as warm, in which it would have come by day 150
    curves = chain(100, draws(100, log_sd=0.05), on=thermal_time, seen={"budbreak": (170.0, np.inf)})[0]
    mass = curves[:, -1] / 2
    assert_allclose(mass.sum(), 1, atol=1e-9)
    assert mass[0] > 0.98


def test_a_look_is_wrong_once_in_a_hundred():
    curves = chain(100, draws(40, log_sd=0.3))[0]
    come = dist(curves).chance_by(145)
    after = dist(not_by(curves, 145.0))
    wrong = MISJUDGED * come / (MISJUDGED * come + (1 - MISJUDGED) * (1 - come))
    # what had come all the same is due at once, beside what was due that day
    right = (dist(curves).chance_by(146) - come) / (1 - come)
    assert_allclose(after.chance_by(146), wrong + (1 - wrong) * right, rtol=1e-9)


@pytest.mark.parametrize("look", [200.0, 300.0, 365.0])
def test_a_look_that_contradicts_everything_makes_it_due(look):
    not_yet = {"budbreak": (look, np.inf)}
    after, hardened = chain(100, draws(30, log_sd=0.02), draws(10, log_sd=0.1), seen=not_yet)
    assert np.isfinite(after).all()
    if look < 365:
        assert look < dist(after).quantile(0.5) <= look + 1
        assert_allclose(dist(hardened).quantile(0.5), look + 10.5, atol=1)


def test_a_look_before_the_season_says_nothing():
    curves = chain(100, draws(30))[0]
    assert_allclose(not_by(curves, -3.0), curves)


def test_the_nodes_are_those_of_gauss_and_hermite():
    nodes, weights = np.polynomial.hermite_e.hermegauss(5)
    assert_allclose(NODE_WEIGHTS, weights / weights.sum(), atol=1e-7)
    assert_allclose(NODE_LEVELS, special.ndtr(nodes), atol=1e-6)


def test_the_third_stage_keeps_its_whole_spread_into_the_tails():
    step = draws(30, log_sd=0.15)
    last = chain(50, step, step, step)[-1]
    summed = 50 + 30 * np.exp(0.15 * np.random.default_rng(0).normal(size=(3, 400_000))).sum(0)
    for level in (0.02, 0.05, 0.25, 0.5, 0.75, 0.95, 0.98):
        assert dist(last).quantile(level) == pytest.approx(np.quantile(summed, level), abs=0.4)


# Within an interval


def test_within_a_wide_interval_the_curves_say_when():
    """An event expected on day 110, seen to come between 100 and 140, came about 110 rather than 120."""
    inside = dist(chain(100, draws(10, log_sd=0.3), seen={"budbreak": (100.0, 140.0)})[0])
    assert inside.chance_by(100) == 0 and inside.chance_by(140) == pytest.approx(1)
    assert_allclose(inside.quantile(0.5), 110, atol=1)


def test_an_interval_the_curves_do_not_allow_is_taken_as_it_is():
    inside = dist(chain(100, draws(10, log_sd=0.05), seen={"budbreak": (200.0, 220.0)})[0])
    assert_allclose([inside.quantile(q) for q in (0.25, 0.5, 0.75)], [205, 210, 215], atol=0.5)


@pytest.mark.parametrize("after", [364.0, 364.5, 400.0])
def test_an_interval_after_the_last_day_leaves_that_day(after):
    curves = within(chain(100, draws(10))[0], after, after + 20)
    assert curves[:, -1].mean() == pytest.approx(1) and (curves[:, -2] == 0).all()


def test_an_interval_weighs_the_traces():
    thermal_time = one_a_day(365, traces=2)
    thermal_time.sums[1] *= 2  # there the event comes by day 150
    curves = within(chain(100, draws(100, log_sd=0.05), on=thermal_time)[0], 190.0, 210.0)
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
        one = ThermalTime(thermal_time.sums[k : k + 1])
        for t, share in zip(middle[mass > 1e-7], mass[mass > 1e-7], strict=True):
            out[k] += share * chain(t, prediction, on=one, clocks=CLOCKS)[0][0]
    return out


@pytest.mark.parametrize("look", [-np.inf, 145.0])
def test_stages_in_a_row_agree_with_the_whole_recursion(look):
    """To less than a sixth of a day, between the levels that are shown."""
    thermal_time, first, second = drawn_world()
    thermal_time = ThermalTime(thermal_time.sums[::20])
    third = replace(second, variance=second.variance * 2)
    quick = chain(
        112, first, second, third, on=thermal_time, seen={"budbreak": (look, np.inf)}, clocks=CLOCKS
    )
    whole = quick[0]
    for step, curves in zip((second, third), quick[1:], strict=True):
        whole = recursion(step, thermal_time, whole)
        assert_allclose(dist(curves).quantiles(), dist(whole).quantiles(), atol=0.15)
