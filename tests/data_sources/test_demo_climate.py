"""The invented climate: deterministic by date, right hemisphere, persistent, warming, at any latitude."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal

from data_sources.demo.climate import PERSISTENCE, synthetic_weather
from phenology.model.errors import InputError

START, END = date(1991, 1, 1), date(2025, 12, 31)


def months(weather):
    stamps = weather.first_day.toordinal() + np.arange(len(weather))
    return np.array([date.fromordinal(int(n)).month for n in stamps])


@given(
    first=st.integers(0, 3000),
    length=st.integers(1, 800),
    latitude=st.floats(-90, 90),
    seed=st.integers(0, 2**63),
)
@settings(max_examples=25)
def test_a_day_is_the_same_wherever_the_series_starts(first, length, latitude, seed):
    whole = synthetic_weather(date(2015, 1, 1), date(2025, 12, 31), latitude, seed=seed)
    start = date(2015, 1, 1) + timedelta(days=first)
    part = synthetic_weather(start, start + timedelta(days=length - 1), latitude, seed=seed)
    same = whole.between(part.first_day, part.last_day)
    assert_array_equal(part.tmin[: len(same)], same.tmin)
    assert_array_equal(part.tmax[: len(same)], same.tmax)


def test_seeds_give_different_weather():
    one, two = (synthetic_weather(START, END, 50.0, seed=s) for s in (1, 2))
    inside = np.corrcoef(one.tmax - one.tmax.mean(), two.tmax - two.tmax.mean())[0, 1]
    assert 0.5 < inside < 0.95  # the year is shared, the days are not
    assert (one.tmax == two.tmax).mean() < 0.05


@pytest.mark.parametrize("latitude, warm, cold", [(50.0, 7, 1), (-37.8, 1, 7), (69.0, 7, 1), (-54.0, 1, 7)])
def test_summer_comes_in_the_right_half_of_the_year(latitude, warm, cold):
    weather = synthetic_weather(START, END, latitude, seed=3)
    month, middle = months(weather), (weather.tmin + weather.tmax) / 2
    by_month = {m: middle[month == m].mean() for m in range(1, 13)}
    assert max(by_month, key=by_month.get) in (warm, warm % 12 + 1)
    assert min(by_month, key=by_month.get) in (cold, cold % 12 + 1)


def test_mean_amplitude_and_warming_are_those_asked_for():
    weather = synthetic_weather(START, END, 45.0, mean=11.0, amplitude=9.0, warming_per_decade=1.0, seed=5)
    middle = (weather.tmin + weather.tmax) / 2
    year = np.arange(len(middle)) / 365.2425
    design = np.column_stack(
        [np.ones_like(year), year - 19.5, np.cos(2 * np.pi * year), np.sin(2 * np.pi * year)]
    )
    mean, trend, cos, sin = np.linalg.lstsq(design, middle, rcond=None)[0]
    assert mean == pytest.approx(11.0, abs=0.4)
    assert 10 * trend == pytest.approx(1.0, abs=0.25)
    assert np.hypot(cos, sin) == pytest.approx(9.0, abs=0.4)


def test_anomalies_persist_and_winter_is_more_restless():
    weather = synthetic_weather(START, END, 50.0, seed=6)
    month, middle = months(weather), (weather.tmin + weather.tmax) / 2
    spread = {}
    for m in (1, 7):
        rows = middle[month == m].reshape(35, 31)
        rows = rows - rows.mean(axis=1, keepdims=True)
        spread[m] = rows.std()
    assert spread[1] > 1.2 * spread[7]
    january = middle[month == 1].reshape(35, 31)
    january = january - january.mean()
    lag_one = np.corrcoef(january[:, :-1].ravel(), january[:, 1:].ravel())[0, 1]
    assert PERSISTENCE - 0.1 < lag_one < 0.95


def test_springs_differ_between_years():
    weather = synthetic_weather(START, END, 50.0, warming_per_decade=0.0, seed=7)
    middle = (weather.tmin + weather.tmax) / 2
    springs = [
        middle[weather.index(date(y, 3, 1)) : weather.index(date(y, 5, 31))].mean() for y in range(1991, 2026)
    ]
    assert 0.5 < np.std(springs) < 2.0


def test_the_daily_range_varies_and_is_wider_in_summer():
    weather = synthetic_weather(START, END, 50.0, diurnal=9.0, seed=8)
    width, month = weather.tmax - weather.tmin, months(weather)
    assert (width > 0).all()
    assert width.mean() == pytest.approx(9.0, abs=1.0)
    assert width[month == 7].mean() > 1.2 * width[month == 1].mean()
    assert width[month == 7].std() > 1.0


@pytest.mark.parametrize("latitude", [-90.0, -23.4, 0.0, 15.0, 66.6, 78.2, 90.0])
def test_every_latitude_has_a_plausible_sky(latitude):
    weather = synthetic_weather(date(2020, 1, 1), date(2025, 12, 31), latitude, seed=9)
    assert weather.known.all()
    assert weather.tmin.min() > -80 and weather.tmax.max() < 50
    if abs(latitude) < 1:
        assert weather.tmin.min() > 10  # no frost on the equator


def test_leap_day_and_single_day():
    assert len(synthetic_weather(date(2024, 2, 29), date(2024, 2, 29), 50.0, seed=1)) == 1


@pytest.mark.parametrize(
    "change, message",
    [
        ({"end": date(1990, 1, 1)}, "lies before the first day"),
        ({"latitude": 91.0}, "between -90 and 90, got 91"),
        ({"diurnal": 0.0}, "above 0 °C"),
    ],
)
def test_nonsense_is_refused(change, message):
    with pytest.raises(InputError, match=message):
        synthetic_weather(**{"start": START, "end": END, "latitude": 50.0, **change})
