"""Distributions fitted between two looks: recovery, invariance, and refusal of what cannot be fitted."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.learning.censored_fits import FAMILIES, fit_interval_censored
from phenology.model.errors import InputError

LEFT = [21, 21, 28, 28, 28, 35, 35, 42, 42, 49, 56, 14]
RIGHT = [28, 28, 35, 35, 35, 42, 42, 49, 49, 56, 63, 21]


def weekly(times: np.ndarray, last_look: float = np.inf) -> tuple[np.ndarray, np.ndarray]:
    """Weekly looks around each event, ending with the last look."""
    left = np.minimum(np.floor(times / 7) * 7, last_look)
    return left, np.where(times > last_look, np.inf, left + 7)


@pytest.mark.parametrize(
    "family, draw, names",
    [
        ("normal", lambda r, n: r.normal(60, 9, n), {"mu": 60, "sigma": 9}),
        ("lognormal", lambda r, n: np.exp(r.normal(4, 0.25, n)), {"mu": 4, "sigma": 0.25}),
        ("weibull", lambda r, n: 60 * r.weibull(4, n), {"lambda": 60, "rho": 4}),
        ("loglogistic", lambda r, n: np.exp(4 + r.logistic(0, 0.2, n)), {"alpha": np.exp(4), "beta": 5}),
    ],
)
def test_truth_is_recovered_from_weekly_looks_that_end_early(family: str, draw, names) -> None:
    left, right = weekly(draw(np.random.default_rng(17), 4000), last_look=70.0)
    fit = fit_interval_censored(left, right, family)
    assert fit.n_right_censored == np.isinf(right).sum() > 0
    for name, truth in names.items():
        assert fit.parameters[name] == pytest.approx(truth, rel=0.05), name


@pytest.mark.parametrize("family", FAMILIES)
def test_unit_of_time_does_not_matter(family: str) -> None:
    days = fit_interval_censored(LEFT, RIGHT, family)
    hours = fit_interval_censored(np.multiply(LEFT, 24), np.multiply(RIGHT, 24), family)
    assert_allclose(hours.median, 24 * days.median, rtol=1e-5)
    assert_allclose(hours.log_likelihood, days.log_likelihood, rtol=1e-7)


def test_midpoints_less_sheppards_correction_come_near_for_the_normal() -> None:
    middle = (np.array(LEFT) + np.array(RIGHT)) / 2
    fit = fit_interval_censored(LEFT, RIGHT, "normal")
    assert_allclose(fit.parameters["sigma"], np.sqrt(middle.var() - 49 / 12), rtol=2e-3)


@pytest.mark.parametrize("family", FAMILIES)
def test_events_before_the_first_look_count(family: str) -> None:
    fit = fit_interval_censored([0, *LEFT], [14, *RIGHT], family)
    assert fit.median < fit_interval_censored(LEFT, RIGHT, family).median


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize(
    "left, right, message",
    [
        ([21, 21, 24], [28, 28, 30], "do not fix a spread"),
        ([21, 28], [28, 35], "do not fix a spread"),
        ([21, 22], [np.inf, np.inf], "no event was seen"),
        ([21, 28, 35], [28, 28, 42], r"event 1 .*\(28, 28\]"),
        ([21, np.nan], [28, 35], r"event 1 .*nan"),
        ([], [], "a left and a right end"),
        ([-np.inf, 3], [np.inf, 4], "event 0"),
    ],
)
def test_events_that_cannot_be_fitted_are_refused(family: str, left, right, message: str) -> None:
    with pytest.raises(InputError, match=message):
        fit_interval_censored(left, right, family)


def test_negative_times_and_unknown_families_are_refused() -> None:
    with pytest.raises(InputError, match=r"event 0 .*no stretch of positive time"):
        fit_interval_censored([-3.0, 5.0], [4.0, 9.0], "weibull")
    with pytest.raises(InputError, match="no distribution 'gamma'"):
        fit_interval_censored([1.0], [2.0], "gamma")
