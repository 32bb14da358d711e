"""Proper scores: against their definition as an integral, and by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.special import ndtr

from phenology.judging.scoring_rules import (
    crps_ensemble,
    crps_lognormal,
    crps_normal,
    interval_score,
    log_score_normal,
    pinball,
    pit_normal,
    skill,
)
from phenology.model.errors import InputError


def crps_by_definition(cdf: np.ndarray, grid: np.ndarray, observed: float) -> float:
    """The integral of (F(x) - 1{x >= y})² over a fine grid."""
    return float(np.trapezoid((cdf - (grid >= observed)) ** 2, grid))


@pytest.mark.parametrize("observed", [-2.0, 0.3, 4.0])
def test_normal_crps_is_its_integral(observed: float) -> None:
    grid = np.linspace(-40, 40, 400_001)
    assert_allclose(
        crps_normal(observed, 0.5, 1.7),
        crps_by_definition(ndtr((grid - 0.5) / 1.7), grid, observed),
        atol=2e-4,
    )


@pytest.mark.parametrize("observed", [12.0, 30.0, 55.0])
def test_lognormal_crps_is_its_integral(observed: float) -> None:
    grid = np.linspace(1e-6, 400, 400_001)
    cdf = ndtr((np.log(grid) - np.log(28)) / 0.3)
    assert_allclose(
        crps_lognormal(observed, np.log(28), 0.3), crps_by_definition(cdf, grid, observed), atol=2e-3
    )


@settings(max_examples=80, deadline=None)
@given(members=st.lists(st.floats(50, 250), min_size=2, max_size=9), observed=st.floats(50, 250))
def test_ensemble_crps_is_the_double_sum(members: list[float], observed: float) -> None:
    x, n = np.array(members), len(members)
    near = np.abs(x - observed).mean()
    apart = np.abs(x[:, None] - x).sum()
    assert_allclose(crps_ensemble(observed, x), near - apart / (2 * n * n), atol=1e-9)
    assert_allclose(crps_ensemble(observed, x, fair=True), near - apart / (2 * n * (n - 1)), atol=1e-9)


def test_many_quantiles_of_a_normal_give_its_crps() -> None:
    # 2 ∫ pinball over the levels is the CRPS: the reason why five quantiles can be scored at all
    levels = (np.arange(2000) + 0.5) / 2000
    from scipy.special import ndtri

    loss = 2 * pinball(121.0, 118 + 4 * ndtri(levels), levels).mean()
    assert_allclose(loss, crps_normal(121.0, 118.0, 4.0), atol=1e-3)


def test_a_perfect_normal_forecast_scores_sigma_over_root_pi_on_average() -> None:
    drawn = np.random.default_rng(5).normal(100, 6, 200_000)
    assert_allclose(crps_normal(drawn, 100.0, 6.0).mean(), 6 / np.sqrt(np.pi), rtol=0.01)
    # and every other spread scores worse: the rule is proper
    assert crps_normal(drawn, 100.0, 5.0).mean() > crps_normal(drawn, 100.0, 6.0).mean()
    assert crps_normal(drawn, 100.0, 7.2).mean() > crps_normal(drawn, 100.0, 6.0).mean()


def test_members_stand_on_the_last_axis_and_unknown_stays_unknown() -> None:
    members = np.array([[8.0, 12.0], [np.nan, 12.0]])
    assert_allclose(crps_ensemble([10.0, 10.0], members), [1.0, np.nan])
    assert np.isnan(crps_normal(np.nan, 0.0, 1.0))


def test_interval_score_by_hand() -> None:  # width 20, and 2/0.1 for each of 5 days missed
    assert_allclose(interval_score([120.0, 135.0], 110.0, 130.0, 0.1), [20.0, 120.0])


def test_skill_is_the_share_saved_and_unknown_against_a_perfect_rival() -> None:
    assert_allclose(skill([0.0, 3.0, 4.5, 1.0], [3.0, 3.0, 3.0, 0.0]), [1.0, 0.0, -0.5, np.nan])


@pytest.mark.parametrize(
    "call, message",
    [
        (lambda: crps_normal(1.0, 0.0, 0.0), "standard deviation above 0"),
        (lambda: pit_normal(1.0, 0.0, -1.0), "standard deviation above 0"),
        (lambda: log_score_normal(1.0, 0.0, 0.0), "standard deviation above 0"),
        (lambda: crps_lognormal(0.0, 0.0, 1.0), "above 0"),
        (lambda: crps_ensemble(1.0, [2.0], fair=True), "1 members cannot be scored fairly"),
        (lambda: crps_ensemble(1.0, []), "0 members"),
        (lambda: interval_score(1.0, 3.0, 2.0, 0.1), "end before it starts"),
        (lambda: interval_score(1.0, 1.0, 2.0, 1.0), "alpha must lie between 0 and 1"),
        (lambda: pinball(1.0, 1.0, 0.0), "level must lie between 0 and 1"),
    ],
)
def test_what_cannot_be_scored_is_refused(call, message: str) -> None:
    with pytest.raises(InputError, match=message):
        call()
