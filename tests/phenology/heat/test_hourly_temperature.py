"""Hourly curves: where they must pass through, and how they join from day to day."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.hourly_temperature import campbell_norman, cesaraccio, hourly_temperatures, linvill
from phenology.heat.thermal_time import degree_days, degree_days_hourly
from phenology.model.errors import InputError

DAY = (10.0, 30.0, 12.0, 6.0, 18.0)  # minimum, maximum, next minimum, sunrise, sunset


@pytest.mark.parametrize("curve, peak", [(linvill, 14.0), (cesaraccio, 14.0)])
def test_curve_runs_from_minimum_through_maximum_to_the_next_minimum(curve, peak: float) -> None:
    assert_allclose(curve([6.0, peak, 30.0], *DAY), [10, 30, 12], atol=1e-12)
    hours = np.linspace(6, 30, 241)
    temps = curve(hours, *DAY)
    assert temps.max() <= 30 + 1e-12 and temps.min() >= 10 - 1e-12
    assert (np.diff(temps[hours >= peak]) <= 1e-12).all()  # falls, or holds, all evening and night


def test_linvill_holds_the_sunset_temperature_for_an_hour_unless_the_night_is_shifted() -> None:
    assert_allclose(linvill([18.0, 18.5, 19.0], *DAY), 10 + 20 * np.sin(np.pi * 12 / 16))
    shifted = linvill([18.0, 18.5, 19.0], *DAY, night_shift=1.0)
    assert (np.diff(shifted) < 0).all()


def test_campbell_norman_nearly_reaches_the_extremes() -> None:
    temps = campbell_norman(np.linspace(0, 24, 2401), 0.0, 100.0, 0.0)
    assert_allclose([temps.min(), temps.max()], [2.53, 99.74], atol=0.01)


@pytest.mark.parametrize("curve", ["linvill", "cesaraccio", "campbell_norman"])
def test_a_run_of_days_keeps_within_its_extremes_and_near_their_degree_days(curve: str) -> None:
    rng = np.random.default_rng(7)
    tmin = 8 + rng.normal(0, 3, (2, 20))
    tmax = tmin + rng.uniform(6, 14, tmin.shape)
    hours = hourly_temperatures(tmin, tmax, 5.5, 19.25, curve=curve)
    assert hours.shape == (2, 20, 24)
    assert hours.min() >= tmin.min() and hours.max() <= tmax.max()
    # another curve through the same extremes: the sums agree within a tenth
    assert_allclose(degree_days_hourly(hours, 5.0).sum(), degree_days(tmin, tmax, 5.0).sum(), rtol=0.10)


def test_hours_before_sunrise_belong_to_the_night_before() -> None:
    hours = hourly_temperatures([10.0, 12.0], [30.0, 20.0])
    assert_allclose(hours[1, :6], linvill(np.arange(24.0, 30.0), *DAY))
    assert_allclose(hours[0, 6:], linvill(np.arange(6.0, 24.0), *DAY))


def test_impossible_hours_and_days_are_refused() -> None:
    with pytest.raises(InputError, match="hour 31 lies outside"):
        linvill([7.0, 31.0], *DAY)
    with pytest.raises(InputError, match="sunset must come after sunrise"):
        linvill(7.0, 10.0, 30.0, 12.0, 18.0, 6.0)
    with pytest.raises(InputError, match="longer than 4 hours"):
        cesaraccio(11.0, 10.0, 30.0, 12.0, 10.0, 13.0)
    with pytest.raises(InputError, match="0 to 24"):
        campbell_norman(25.0, 10.0, 30.0, 12.0)
    with pytest.raises(InputError, match="no hourly curve 'guess'"):
        hourly_temperatures([10.0], [30.0], curve="guess")
