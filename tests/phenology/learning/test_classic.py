"""Classic base temperatures: exact data, the minimum they claim, and honest intervals."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.optimize import minimize_scalar

from phenology.learning.classic import CLASSIC, x_intercept
from phenology.model.errors import InputError

TEMPS = np.array([9.5, 11.2, 12.8, 14.1, 15.6, 17.3])
DAYS = np.array([86.0, 58.0, 44.0, 38.0, 31.0, 27.0])

SPREAD = {  # what each estimator says it makes least
    "sd_gdd": lambda b: np.std(DAYS * (TEMPS - b), ddof=1),
    "sd_days": lambda b: np.std(DAYS * (TEMPS - b), ddof=1) / (TEMPS.mean() - b),
    "cv_gdd": lambda b: np.std(DAYS * (TEMPS - b), ddof=1) / np.mean(DAYS * (TEMPS - b)),
}


@pytest.mark.parametrize("method", CLASSIC)
@settings(max_examples=40)
@given(base=st.floats(-5, 8), requirement=st.floats(50, 2000))
def test_every_method_finds_the_base_of_exact_data(method: str, base: float, requirement: float) -> None:
    temps = np.array([10.0, 13, 16, 20, 24])
    fit = CLASSIC[method](temps, requirement / (temps - base))
    assert_allclose([fit.base, fit.requirement], [base, requirement], rtol=1e-5, atol=1e-4)


@pytest.mark.parametrize("method", SPREAD)
def test_closed_form_is_where_a_search_ends(method: str) -> None:
    found = minimize_scalar(SPREAD[method], bounds=(0, 9), method="bounded", options={"xatol": 1e-10})
    assert_allclose(CLASSIC[method](TEMPS, DAYS).base, found.x, atol=1e-5)


def test_fieller_interval_ends_where_the_line_may_just_be_nought() -> None:
    import statsmodels.api as sm

    fit = x_intercept(TEMPS, DAYS, level=0.9)
    assert fit.base_interval is not None and fit.requirement_interval is not None
    low, high = fit.base_interval
    assert low < fit.base < high
    assert fit.requirement_interval[0] < fit.requirement < fit.requirement_interval[1]
    line = sm.OLS(1 / DAYS, sm.add_constant(TEMPS)).fit()
    for end, side in ((low, 1), (high, 0)):
        limits = line.get_prediction([[1.0, end]]).conf_int(alpha=0.1)
        assert limits[0, side] == pytest.approx(0.0, abs=1e-9)


def test_interval_holds_the_true_base_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(3)
    held, n = 0, 400
    for _ in range(n):
        temps = rng.uniform(10, 22, 8)
        rates = (temps - 6) / 300 + rng.normal(0, 0.002, 8)
        low, high = x_intercept(temps, 1 / rates, level=0.8).base_interval or (np.nan, np.nan)
        held += low <= 6 <= high
    assert held / n == pytest.approx(0.80, abs=0.06)  # three standard errors


def test_vague_slopes_leave_the_base_open() -> None:
    rng = np.random.default_rng(8)
    temps = np.array([14.0, 14.2, 14.1, 14.4, 14.3])
    fit = x_intercept(temps, 1 / (0.03 + 0.002 * (temps - 14) + rng.normal(0, 0.002, 5)))
    assert fit.base_interval == (-np.inf, np.inf)
    assert fit.requirement_interval is not None and fit.requirement_interval[1] == np.inf


def test_seasons_with_a_gap_are_left_out() -> None:
    fit = CLASSIC["sd_gdd"]([*TEMPS, np.nan], [*DAYS, 40.0])
    assert fit.n == 6 and fit.base == CLASSIC["sd_gdd"](TEMPS, DAYS).base


@pytest.mark.parametrize("method", CLASSIC)
@pytest.mark.parametrize(
    "temps, days, message",
    [
        ([10.0, 12.0], [30.0, 25.0], "at least 3 seasons, got 2"),
        ([10.0, 10.0, 10.0], [30.0, 31.0, 32.0], "too alike"),
        ([10.0, 11.0, 12.0], [30.0, 30.0, 30.0], "too alike"),
        ([10.0, 11.0, 12.0], [30.0, 0.0, 20.0], r"season 1 .*0 days at 11 °C"),
        ([10.0, 11.0], [30.0, 20.0, 10.0], "one temperature and one duration"),
    ],
)
def test_seasons_that_tell_nothing_are_refused(method: str, temps, days, message: str) -> None:
    with pytest.raises(InputError, match=message):
        CLASSIC[method](temps, days)


def test_a_stage_that_slows_in_warmth_has_no_intercept() -> None:
    with pytest.raises(InputError, match="does not go faster in warmth"):
        x_intercept([10.0, 12.0, 14.0, 16.0], [20.0, 22.0, 25.0, 30.0])
    with pytest.raises(InputError, match="confidence level"):
        x_intercept(TEMPS, DAYS, level=95)
