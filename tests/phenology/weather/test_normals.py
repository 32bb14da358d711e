"""The usual year, its trend, and gaps filled at a stated cost."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from numpy.testing import assert_allclose

from data_sources.demo.climate import synthetic_weather
from phenology.model.season import SeasonCalendar
from phenology.weather.normals import MEMORY_DAYS, Normals, fill_gaps, fit_normals, harmonics
from phenology.weather.season_weather import SeasonWeather

FLAT = Normals(np.full(366, 5.0), np.full(366, 15.0), 4.0, 0.0)


def years(first, last, warming=0.0, seed=1):
    weather = synthetic_weather(
        date(first, 1, 1), date(last, 12, 31), 45.0, warming_per_decade=warming, seed=seed
    )
    return SeasonWeather.cut(weather, SeasonCalendar())


def a_year(day):
    return 10 - 9 * np.cos(2 * np.pi * (day - 20) / 365.25)


def test_a_clean_year_comes_back():
    day = np.arange(1.0, 367)
    low = np.tile(a_year(day), (3, 1))
    normals = fit_normals(low, low + 8, np.arange(3))
    assert_allclose(normals.tmin, a_year(day), atol=0.05)
    assert_allclose(normals.tmax, a_year(day) + 8, atol=0.05)
    assert normals.spread < 0.05


def test_part_of_a_year_does_not_swing_wildly_outside_it():
    day = np.arange(1.0, 367)
    noise = np.random.default_rng(0).normal(scale=3, size=366)
    low = np.where((day > 60) & (day < 250), a_year(day) + noise, np.nan)[None]
    normals = fit_normals(low, low + 8, np.arange(1))
    assert_allclose(normals.tmin, a_year(day), atol=8)


def test_a_season_without_any_day_adds_nothing():
    record = years(2000, 2003)
    empty = np.full((1, 366), np.nan)
    with_empty = fit_normals(
        np.vstack([record.tmin, empty]), np.vstack([record.tmax, empty]), np.arange(2000, 2005)
    )
    assert_allclose(with_empty.tmin, record.normals.tmin)
    assert_allclose(with_empty.spread, record.normals.spread)


def test_nothing_known_at_all_is_unknown_and_says_so_with_nan():
    empty = np.full((2, 366), np.nan)
    normals = fit_normals(empty, empty, np.arange(2))
    assert np.isnan(normals.tmin).all() and np.isnan(normals.tmax).all()
    assert normals.trend == 0 and normals.spread > 0


@pytest.mark.parametrize("first, trend_known", [(1985, True), (1999, True), (2000, False), (2010, False)])
def test_no_trend_is_claimed_under_fifteen_seasons(first, trend_known):
    trend = years(first, 2013, warming=0.8).normals.trend
    assert (trend != 0) == trend_known


def test_a_long_warm_trend_is_found_and_shrunk():
    trends = [years(1976, 2015, warming=0.6, seed=s).normals.trend for s in range(6)]
    assert 0.03 < np.mean(trends) < 0.06
    steep = years(1976, 2015, warming=6.0).normals.trend
    assert steep < 0.6  # ten times what any place has seen: not believed to the full


def test_without_gaps_nothing_changes():
    record = years(2000, 2001)
    low, high, variance = record.filled(2001)
    assert_allclose(low, record.tmin[1, :365])
    assert_allclose(high, record.tmax[1, :365])
    assert (variance == 0).all()


def with_gap(start, days, low=9.0, high=19.0, both=True):
    tmin, tmax = np.full(365, low), np.full(365, high)
    tmin[start : start + days] = np.nan
    if both:
        tmax[start : start + days] = np.nan
    return fill_gaps(tmin, tmax, FLAT)


def test_a_gap_leans_on_its_neighbours_then_on_the_usual_year():
    low, _, _ = with_gap(100, 60)
    assert_allclose(low[[99, 160]], 9.0)
    assert 8 < low[100] < 9
    assert_allclose(low[130], 5.0, atol=0.1)
    assert (np.diff(low[99:130]) < 0).all()


def test_variance_grows_with_the_distance_to_known_days():
    _, _, variance = with_gap(100, 60)
    assert variance[99] == variance[160] == 0
    assert (np.diff(variance[99:125]) > 0).all()
    assert_allclose(variance[100:160], variance[159:99:-1])
    assert_allclose(variance[130], FLAT.spread**2 * 2 * MEMORY_DAYS, rtol=1e-3)


@pytest.mark.parametrize("days", [1, 2, 4])
def test_even_a_short_gap_costs_something(days):
    _, _, variance = with_gap(200, days)
    assert (variance[200 : 200 + days] > 0).all()


def test_one_day_missing_by_hand():
    # a day between two known ones: the variance an autoregression leaves, (1 - p²) / (1 + p²)
    p = np.exp(-1 / MEMORY_DAYS)
    _, _, variance = with_gap(200, 1)
    assert_allclose(variance[200], 16 * (1 - p**2) / (1 + p**2))


@pytest.mark.parametrize("gap", [1, 3, 10, 40])
def test_the_stated_variance_covers_the_error_of_the_sum(gap):
    rng = np.random.default_rng(7)
    p, errors = np.exp(-1 / MEMORY_DAYS), []
    for _ in range(400):
        anomaly = np.zeros(gap + 60)
        anomaly[0] = rng.normal()
        for i in range(1, len(anomaly)):
            anomaly[i] = p * anomaly[i - 1] + np.sqrt(1 - p**2) * rng.normal()
        tmin, tmax = 5 + 4 * anomaly, 15 + 4 * anomaly
        hole = slice(30, 30 + gap)
        truth = (tmin[hole] + tmax[hole]).sum() / 2
        tmin[hole] = tmax[hole] = np.nan
        low, high, variance = fill_gaps(tmin, tmax, FLAT)
        errors.append((low[hole] + high[hole]).sum() / 2 - truth)
    stated, seen = variance[hole].sum(), np.mean(np.square(errors))
    assert abs(np.mean(errors)) < 4 * np.sqrt(seen / 400)
    assert 0.8 * seen < stated < 2.5 * seen


def test_a_missing_minimum_alone_costs_a_quarter_of_a_missing_day():
    _, _, both = with_gap(100, 30)
    _, _, half = with_gap(100, 30, both=False)
    assert_allclose(half[100:130], both[100:130] / 4)


def test_a_filled_minimum_never_lies_above_the_maximum():
    low, high, _ = with_gap(100, 30, low=1.0, high=2.0, both=False)  # a cold spell, its minima lost
    assert (low <= high).all()
    assert_allclose(low[115], high[115])


def test_a_year_with_no_day_is_the_usual_year_at_full_cost():
    nothing = np.full(366, np.nan)
    low, high, variance = fill_gaps(nothing, nothing, FLAT)
    assert_allclose(low, 5)
    assert_allclose(high, 15)
    assert_allclose(variance, 16 * 2 * MEMORY_DAYS)


def test_harmonics_repeat_after_a_year():
    one, other = harmonics(np.array([10.0])), harmonics(np.array([10 + 365.25]))
    assert_allclose(one, other, atol=1e-12)
    assert one.shape == (1, 5)
