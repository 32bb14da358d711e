"""Rows known only by a bound: moments against scipy, stand-ins against quadrature of the exact posterior."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.special import ndtr
from scipy.stats import norm, truncnorm

from phenology.learning.censoring import (
    AT_ONCE,
    NODES,
    VAGUE,
    WEIGHTS,
    CensoredSites,
    interval_moments,
    match_sites,
)
from phenology.learning.effects import Rows, Weighed, log_evidences, posterior
from phenology.learning.waits import LEAST_WAIT, tabulate
from phenology.model.season import NEVER
from tests.phenology.learning.test_waits import DAYS
from tests.phenology.worlds import a_wait, hands_for

INF = np.inf


INSTANT = 1e-9
"""Of a wait that began at a known moment."""


def bounds(lower, upper):
    """The ends of waits that began at 0 and ended between two looks, from the logs of these."""
    after, by = np.exp([lower, upper])
    return np.stack(np.broadcast_arrays(-INSTANT, 0.0, after, by), axis=-1)


def test_nodes_and_weights_are_those_of_gauss_and_legendre():
    nodes, weights = np.polynomial.legendre.leggauss(len(NODES))
    assert_allclose(NODES[:, 0], nodes, atol=1e-7)
    assert_allclose(WEIGHTS[:, 0], weights, atol=1e-8)


def moments(mean, variance, ends):
    return [float(v[0]) for v in interval_moments(np.array([mean]), np.array([variance]), np.array([ends]))]


@given(
    mean=st.floats(2, 5),
    sd=st.floats(0.05, 1),
    at=st.floats(-6, 6),
    width=st.floats(0.05, 5) | st.just(INF),
    below=st.booleans(),
)
@settings(max_examples=80)
def test_from_a_known_beginning_moments_are_those_of_the_truncated_normal(mean, sd, at, width, below):
    a, b = (at - width, at) if below else (at, at + width)
    a, b = max(a, (np.log(LEAST_WAIT) - mean) / sd), max(b, (np.log(LEAST_WAIT) + 0.1 - mean) / sd)
    exact = truncnorm(a, b, loc=mean, scale=sd)
    log_mass, got_mean, variance = moments(mean, sd**2, bounds(mean + a * sd, mean + b * sd))
    # survival functions where the mass lies in the upper tail: the difference of two cdfs would cancel
    mass = norm.sf(a) - norm.sf(b) if a > 0 else norm.cdf(b) - norm.cdf(a)
    assert_allclose(log_mass, np.log(mass), rtol=1e-5, atol=1e-5)
    assert_allclose(got_mean, exact.mean(), atol=1e-5 * sd)
    assert_allclose(variance, exact.var(), rtol=2e-3)


@pytest.mark.parametrize("sd", [11.0, 19.0])
def test_a_wait_through_days_without_weather_is_vague_and_no_less_right(sd):
    """Gaps make the log wait so wide that its upper end is beyond single precision."""
    mean, log_after = 2.5, np.log(0.3)
    left = truncnorm((log_after - mean) / sd, INF, loc=mean, scale=sd)
    with np.errstate(all="raise"):
        found = moments(mean, sd**2, bounds(log_after, INF))
    assert_allclose(found, [norm.logsf(log_after, mean, sd), left.mean(), left.var()], rtol=2e-3)


def test_many_rows_go_through_in_runs_as_each_would_alone():
    mean = np.linspace(2.5, 4.5, AT_ONCE + 3)
    ends = np.broadcast_to([-2.0, 2.0, 20.0, 30.0], (len(mean), 4))
    together = interval_moments(mean, np.full_like(mean, 0.04), ends)
    for k in (0, AT_ONCE - 1, AT_ONCE, len(mean) - 1):
        assert_allclose([part[k] for part in together], moments(mean[k], 0.04, ends[k]), rtol=1e-6)


@given(
    mean=st.floats(-20, 20),
    sd=st.floats(1e-8, 5),
    ends=st.tuples(st.floats(-60, -0.1), st.floats(0, 0), st.floats(-60, 300), st.floats(0.4, 60)),
)
@example(mean=20.0, sd=1e-8, ends=(-60.0, 0.0, 10.0, 20.0))
@settings(max_examples=150)
def test_moments_are_finite_however_little_the_gaussian_allows_the_intervals(mean, sd, ends):
    began, begun, after, width = ends
    log_mass, got, variance = moments(mean, sd**2, (began, begun, after, max(after, 0.0) + width))
    assert np.isfinite([log_mass, got, variance]).all() and variance >= 0
    assert np.log(LEAST_WAIT) - 1e-9 <= got <= np.log(max(after, 0.0) + width - began) + 1e-9


@pytest.mark.parametrize(
    "ends",
    [
        (-10, 10, -10, 10),  # both between the same two looks
        (-10, 10, 10, 30),
        (-2, 2, 10, 30),
        (-10, 10, 12, 15),
        (-10, 10, 15, INF),
        (-10, 10, 0, 20),
    ],
)
def test_moments_by_adding_up_beginnings_and_waits(ends):
    began, begun, after, by = ends
    y = np.linspace(np.log(LEAST_WAIT), np.log(12) + 5, 20_001)
    begins = began + (begun - began) * (np.arange(400) + 0.5) / 400
    chance = sum((after < t + np.exp(y)) & (t + np.exp(y) <= by) for t in begins) / len(begins)
    density = chance * norm.pdf(y, np.log(12), 0.5)
    mass = np.trapezoid(density, y)
    mean = np.trapezoid(y * density, y) / mass
    variance = np.trapezoid((y - mean) ** 2 * density, y) / mass
    assert_allclose(moments(np.log(12), 0.25, ends), [np.log(mass), mean, variance], rtol=0.02, atol=4e-3)


@pytest.mark.parametrize(("mean", "lower", "upper"), [(2.0, 42.0, INF), (42.0, -INF, 2.0), (2.0, 40.0, 41.0)])
def test_far_out_in_a_tail_nothing_breaks(mean, lower, upper):
    log_mass, got, variance = moments(mean, 1.0, bounds(lower, upper))
    assert log_mass < -700
    assert_allclose(got, lower if lower > mean else upper, atol=0.05)
    assert 0 < variance < 1e-2


USUAL = 3.0


def settled(rows, *, noise=0.1, prior_mean=USUAL, prior_sd=0.4, sweeps=30):
    """Stand-ins for rows (lower, upper) that all read one effect, and the posterior they lead to."""
    lower, upper = np.array(rows, dtype=float).T + prior_mean
    n = len(lower)
    sites = CensoredSites(
        np.full(n, prior_mean), np.full(n, VAGUE), bounds(lower, upper), np.zeros(n), np.ones(n, dtype=bool)
    )
    prior = np.array([prior_sd**2])

    def given():
        rows = Rows.plain(np.ones((n, 1)), np.arange(n), n)
        return Weighed.of(rows, sites.value - prior_mean, sites.variance(noise))

    for _ in range(sweeps):
        evidence = log_evidences(given(), prior[None], 1e-10)[0]
        fitted = posterior(given(), prior, 1e-10)
        mean, variance = fitted.shared_mean[0], fitted.shared_covariance[0, 0]
        sites = match_sites(sites, np.full(n, mean + prior_mean), np.full(n, variance), noise)
    return mean + prior_mean, variance, evidence + sites.log_scale


def exact(rows, *, noise=0.1, prior_mean=USUAL, prior_sd=0.4):
    x = np.linspace(prior_mean - 8 * prior_sd, prior_mean + 8 * prior_sd, 40_001)
    weight = norm.pdf(x, prior_mean, prior_sd)
    for lower, upper in rows:
        of_row = (prior_mean + upper - x) / noise, (prior_mean + lower - x) / noise
        weight = weight * (ndtr(of_row[0]) - ndtr(of_row[1]))
    mass = np.trapezoid(weight, x)
    mean = np.trapezoid(x * weight, x) / mass
    return mean, np.trapezoid((x - mean) ** 2 * weight, x) / mass, np.log(mass)


@pytest.mark.parametrize("row", [(0.1, INF), (-INF, -0.2), (0.2, 0.9), (0.8, INF), (-INF, 2.0)])
def test_one_bounded_row_is_exact(row):
    got, wanted = settled([row]), exact([row])
    # a stand-in never says less than VAGUE, hence not to the last digit
    assert_allclose(got, wanted, atol=4e-3)


@pytest.mark.parametrize(
    "rows",
    [
        [(0.1, INF), (0.3, INF)],
        [(0.1, INF), (-INF, 0.4)],
        [(-INF, -0.3), (-INF, 0.1)],
        [(0.0, 0.7), (0.4, INF)],
    ],
)
def test_two_bounded_rows_are_close(rows):
    mean, variance, evidence = settled(rows)
    wanted = exact(rows)
    assert_allclose(mean, wanted[0], atol=0.01)
    assert_allclose(np.sqrt(variance), np.sqrt(wanted[1]), rtol=0.08)
    assert_allclose(evidence, wanted[2], atol=0.03)


def test_a_bound_that_says_nothing_leaves_the_prior():
    mean, variance, evidence = settled([(-INF, INF)])
    assert_allclose([mean, variance, evidence], [USUAL, 0.16, 0.0], atol=2e-3)


def test_interval_rows_keep_their_middle_and_bounded_rows_start_vague():
    waits = [a_wait(2003, 150, 156), a_wait(2004, 150, NEVER)]
    table = tabulate(waits, hands_for(waits, DAYS), DAYS, {("A", False): 120.0})
    sites = CensoredSites.start(table, np.array([0]), np.array([3.0, 3.0]))
    assert_allclose(sites.value, [[np.log(33), 3.0]])
    assert_allclose(sites.own, [[(6 / 33) ** 2 / 12, VAGUE]])
    assert_allclose(sites.variance(0.1), [[sites.own[0, 0] + 0.01, VAGUE]])
