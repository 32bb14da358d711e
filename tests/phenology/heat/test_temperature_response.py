"""Smooth responses: identities, and the daily mean against many readings along the day."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from phenology.heat.temperature_response import daily_response, wang_engel
from phenology.model.errors import InputError

CLOCK = np.pi * ((np.arange(20_000) + 0.5) / 20_000 - 0.5)


def long_way(tmin: float, tmax: float, base: float, optimum: float, ceiling: float) -> float:
    """The mean response of 20,000 readings along a sine day."""
    readings = (tmin + tmax) / 2 + (tmax - tmin) / 2 * np.sin(CLOCK)
    return float(wang_engel(readings, base, optimum, ceiling).mean())


def test_one_at_the_optimum_and_nothing_at_or_beyond_the_ends() -> None:
    temps = [-20.0, 0.0, 24.0, 35.0, 38.0, 60.0]
    assert_allclose(wang_engel(temps, 0, 24, 35), [0, 0, 1, 0, 0, 0], atol=1e-12)


def test_optimum_midway_is_a_parabola() -> None:  # alpha = 1: f = 1 - ((T - To)/(To - Tn))²
    temps = np.linspace(5, 35, 13)
    assert_allclose(wang_engel(temps, 5, 20, 35), 1 - ((temps - 20) / 15) ** 2, atol=1e-12)


def test_a_day_wholly_inside_a_parabola_by_hand() -> None:
    # mean of 1 - ((m + a sin θ - To)/w)² is 1 - ((m - To)² + a²/2)/w²; here m 18, a 6, To 20, w 15
    assert_allclose(daily_response(12, 24, 5, 20, 35), 1 - (4 + 18) / 225, rtol=1e-10)


@settings(max_examples=150)
@given(
    tmin=st.floats(-20, 34),
    span=st.floats(0, 28),
    base=st.floats(-3, 9),
    width=st.floats(25, 42),
    way=st.floats(0.5, 0.85),
)
def test_daily_mean_agrees_with_many_readings(
    tmin: float, span: float, base: float, width: float, way: float
) -> None:
    cardinals = (base, base + way * width, base + width)
    got = daily_response(tmin, tmin + span, *cardinals)
    assert 0 <= got <= 1 + 1e-12
    assert_allclose(got, long_way(tmin, tmin + span, *cardinals), atol=2e-5)


def test_daily_mean_stays_within_4e_4_for_an_early_or_late_optimum() -> None:
    worst = max(
        abs(float(daily_response(n, n + s, 0, way * 27, 27)) - long_way(n, n + s, 0, way * 27, 27))
        for n in np.arange(-12.0, 26.0, 1.7)
        for s in (0.0, 3.0, 9.0, 18.0, 26.0)
        for way in (0.3, 0.4, 0.9)
    )
    assert worst < 4e-4


def test_flat_days_give_the_response_itself() -> None:
    temps = np.array([-5.0, 0.0, 3.0, 24.0, 30.0, 35.0, 40.0, np.nan])
    assert_allclose(daily_response(temps, temps, 0, 24, 35), wang_engel(temps, 0, 24, 35), atol=1e-9)


def test_great_heat_earns_less_than_its_mean_and_a_whole_day_of_it_nothing() -> None:
    assert daily_response(10, 38, 0, 25, 40) < wang_engel(24, 0, 25, 40)
    assert daily_response(41, 45, 0, 25, 40) == 0


def test_grid_of_responses_broadcasts_with_days() -> None:
    base = np.array([0.0, 4.0, 6.0])[:, None]
    got = daily_response([5.0, np.nan, 9.0, 12.0], [15.0, 18.0, 20.0, 28.0], base, base + 20, 36.0)
    assert got.shape == (3, 4)
    assert np.isnan(got[:, 1]).all() and np.isfinite(got[:, [0, 2, 3]]).all()
    assert_allclose(got[1, 3], daily_response(12.0, 28.0, 4.0, 24.0, 36.0))


def test_cardinal_temperatures_out_of_order_are_refused() -> None:
    with pytest.raises(InputError, match=r"base < optimum < ceiling, got 5\.0, 5\.0, 30\.0"):
        wang_engel(10, 5, 5, 30)
    with pytest.raises(InputError, match="base < optimum < ceiling"):
        daily_response(1, 2, 5, 30, np.inf)
    with pytest.raises(InputError, match=r"day 1 .*tmin 9 °C is above tmax 8 °C"):
        daily_response([1, 9], [2, 8], 0, 24, 35)


def test_the_nodes_written_out_are_those_of_gauss_and_legendre():
    from phenology.heat.temperature_response import _NODES, _WEIGHTS

    nodes, weights = np.polynomial.legendre.leggauss(8)
    assert_allclose(_NODES, nodes, rtol=1e-14)
    assert_allclose(_WEIGHTS, weights, rtol=1e-14)
