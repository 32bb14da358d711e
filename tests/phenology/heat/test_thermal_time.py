"""Degree-days: days worked by hand, and laws that must hold for any day."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from phenology.heat.thermal_time import CUTOFFS, METHODS, degree_days, degree_days_hourly
from phenology.model.errors import InputError
from phenology.model.units import c_to_f, degree_days_c_to_f

FLOORED = [method for method in METHODS if method != "average_unfloored"]

temperature = st.floats(-30, 45).map(lambda t: round(t, 3))
rise = st.floats(0, 12).map(lambda t: round(t, 3))


@st.composite
def days(draw: st.DrawFn) -> tuple[float, float]:
    """A day's minimum and maximum."""
    low, high = sorted((draw(temperature), draw(temperature)))
    return low, high


def test_base_at_the_mean_gives_amplitude_over_pi() -> None:  # by hand: half a sine arch
    assert_allclose(degree_days([5.0], [15.0], base=10.0), 5 / np.pi, rtol=1e-12)


def test_a_day_above_base_is_mean_less_base_in_every_method() -> None:
    for method in METHODS:
        assert_allclose(degree_days(12.0, 24.0, 10.0, method=method, tmin_next=12.0), 8.0, rtol=1e-12)


def test_the_two_readings_of_the_average_method() -> None:  # by hand: 13 - 10, and (10 + 22)/2 - 10
    assert degree_days(4.0, 22.0, 10.0, method="average_mean_clamped") == 3.0
    assert degree_days(4.0, 22.0, 10.0, method="average_extremes_clamped") == 6.0


def test_double_methods_use_the_next_days_minimum_and_the_last_day_its_own() -> None:
    got = degree_days([4.0, 8.0], [22.0, 22.0], 10.0, method="double_sine")
    single = degree_days([4.0, 8.0], [22.0, 22.0], 10.0)
    assert_allclose(got, [single.mean(), single[1]])


def test_a_warm_front_carries_the_evening_above_the_maximum() -> None:
    # 2-6 °C gives nothing above 6; the evening rises from 6 to 12, mean 9, 3 above; half of it counts
    assert_allclose(degree_days(2.0, 6.0, 6.0, method="double_triangle", tmin_next=12.0), 1.5)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_shapes_broadcast_and_unknown_days_stay_unknown(method: str, cutoff: str) -> None:
    tmin = np.array([[4.0, np.nan, 12.0, 9.0], [5.0, 6.0, 7.0, 8.0], [1.0, 2.0, 3.0, 4.0]])
    base = np.array([0.0, 5.0])[:, None, None]
    got = degree_days(tmin, tmin + 10, base, base + 15, method=method, cutoff=cutoff)
    assert got.shape == (2, 3, 4)
    assert np.isnan(got[:, 0, 1]).all()
    unknown = 4 if method.startswith("double") else 2  # a double day needs the next minimum too
    assert np.isnan(got).sum() == unknown
    one = degree_days(tmin[1], tmin[1] + 10, 5.0, 20.0, method=method, cutoff=cutoff)
    assert_allclose(got[1, 1], one)


@pytest.mark.parametrize("method", ["single_sine", "single_triangle"])
def test_vertical_cutoff_is_continuous_where_the_minimum_meets_the_upper_threshold(method: str) -> None:
    near = degree_days(30 - np.array([0.0, 1e-9, 1e-6]), 38.0, 10.0, 30.0, method=method, cutoff="vertical")
    assert_allclose(near, 0.0, atol=0.01)
    assert near[0] == 0.0


@pytest.mark.parametrize("method", FLOORED)
def test_nothing_is_earned_as_the_maximum_meets_the_base(method: str) -> None:
    assert_allclose(degree_days(4.0, 10 + np.array([0.0, 1e-9]), 10.0, method=method), 0.0, atol=1e-9)


@settings(max_examples=150)
@given(day=days(), base=st.floats(-5, 20), span=st.floats(0.5, 40))
@pytest.mark.parametrize("method", FLOORED)
def test_never_negative_and_never_above_the_whole_span(
    method: str, day: tuple[float, float], base: float, span: float
) -> None:
    for cutoff in ("horizontal", "intermediate", "vertical"):
        got = degree_days(*day, base, base + span, method=method, cutoff=cutoff)
        assert 0 <= got <= span + 1e-9


@settings(max_examples=150)
@given(day=days(), up=rise, base=st.floats(-5, 20), span=st.floats(0.5, 40))
@pytest.mark.parametrize("method", METHODS)
def test_a_warmer_day_never_earns_less_and_a_higher_base_never_more(
    method: str, day: tuple[float, float], up: float, base: float, span: float
) -> None:
    low, high = day
    for upper in (None, base + span):
        before = degree_days(low, high, base, upper, method=method)
        assert degree_days(min(low + up, high), high, base, upper, method=method) >= before - 1e-9
        assert degree_days(low, high + up, base, upper, method=method) >= before - 1e-9
        higher = base + up if upper is None else min(base + up, base + span / 2)
        if higher >= base:
            assert degree_days(low, high, higher, upper, method=method) <= before + 1e-9


@settings(max_examples=60)
@given(day=days(), base=st.floats(-5, 20), span=st.floats(0.5, 40))
@pytest.mark.parametrize("method", METHODS)
def test_fahrenheit_route_gives_nine_fifths(
    method: str, day: tuple[float, float], base: float, span: float
) -> None:
    low, high = day
    for cutoff in ("horizontal", "intermediate", "intermediate_unfloored"):
        celsius = degree_days(low, high, base, base + span, method=method, cutoff=cutoff)
        fahrenheit = degree_days(
            c_to_f(low),
            c_to_f(high),
            c_to_f(base),
            c_to_f(base + span),
            method=method,
            cutoff=cutoff,
        )
        assert_allclose(fahrenheit, degree_days_c_to_f(celsius), rtol=1e-9, atol=1e-9)


@settings(max_examples=60)
@given(day=days(), base=st.floats(-5, 20), span=st.floats(0.5, 30))
@pytest.mark.parametrize("cutoff", CUTOFFS)
def test_sine_day_is_the_mean_of_many_readings_along_it(
    cutoff: str, day: tuple[float, float], base: float, span: float
) -> None:
    low, high = day
    clock = np.pi * ((np.arange(20_000) + 0.5) / 20_000 - 0.5)
    readings = (low + high) / 2 + (high - low) / 2 * np.sin(clock)
    many = degree_days_hourly(readings, base, base + span, cutoff=cutoff)
    # the vertical cutoff jumps by span where it cuts, so one reading weighs span / 20000
    assert_allclose(degree_days(low, high, base, base + span, cutoff=cutoff), many, atol=span * 2e-4 + 1e-6)


def test_hourly_days_by_hand() -> None:
    # 24 h: 12 at 8 °C, 12 at 14 °C, base 10 -> 2; a NaN hour spoils its own day only
    day = np.repeat([8.0, 14.0], 12)
    gap = day.copy()
    gap[3] = np.nan
    assert_allclose(degree_days_hourly([day, gap], 10.0), [2.0, np.nan])
    assert_allclose(degree_days_hourly(day, 10.0, 12.0), 1.0)
    assert_allclose(degree_days_hourly(day, 10.0, 12.0, cutoff="vertical"), 0.0)
    assert degree_days_hourly(np.stack([day, day, day]), np.array([0.0, 5.0])[:, None]).shape == (2, 3)


@pytest.mark.parametrize(
    "call, message",
    [
        (lambda: degree_days([3, 14.2], [9, 9.8], 5), r"day 1 .*tmin 14\.2 °C is above tmax 9\.8 °C"),
        (
            lambda: degree_days([3, 14.2], [9, 9.8], 5, first_day=date(2025, 2, 28)),
            r"2025-03-01: tmin 14\.2 °C is above tmax 9\.8 °C",
        ),
        (lambda: degree_days([[3, 4], [3, 14.2]], [9, 9.8], 5), r"row 1, day 1 .*tmin 14\.2"),
        (lambda: degree_days(14.2, 9.8, 5), r"the day: tmin 14\.2"),
        (lambda: degree_days([1, 2], [3, np.inf], 5), r"day 1 .*tmax inf"),
        (lambda: degree_days([1, 2], [3, 4, 5], 5), r"tmin has shape \(2,\) and tmax \(3,\)"),
        (lambda: degree_days(1, 2, 10, 10), r"upper must lie above base, got upper=10"),
        (lambda: degree_days(1, 2, np.nan), r"base must be a number"),
        (lambda: degree_days(1, 2, 5, np.nan), r"upper must be a number"),
        (lambda: degree_days(1, 2, 5, method="guess"), r"no degree-day method 'guess'"),
        (lambda: degree_days(1, 2, 5, 9, cutoff="soft"), r"no cutoff 'soft'"),
        (lambda: degree_days_hourly([[1, 2], [3, np.inf]], 5), r"day 1, reading 1: inf"),
        (lambda: degree_days_hourly([], 5), r"there are none"),
    ],
)
def test_errors_name_the_day_and_the_value(call: Callable[[], object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        call()
