"""What is hard to believe in daily weather is marked; real weather, records included, passes."""

from __future__ import annotations

import re
from datetime import date, timedelta

import numpy as np
import pytest

from data_sources.demo.climate import synthetic_weather
from phenology.weather.quality import doubtful_days, shifted_days, without_crossed_days
from phenology.weather.series import DailyWeather

START, END = date(2015, 1, 1), date(2024, 12, 31)
SUMMER = date(2020, 7, 15)


def ten_years(**changes):
    """Ten invented years with single days changed: {date: (tmin, tmax)}."""
    weather = synthetic_weather(START, END, 50.0, seed=11)
    low, high = weather.tmin.copy(), weather.tmax.copy()
    for day, (tmin, tmax) in changes.get("days", {}).items():
        low[weather.index(day)], high[weather.index(day)] = tmin, tmax
    return DailyWeather(START, low, high, "station")


@pytest.mark.parametrize("latitude", [-54.0, -37.8, 0.0, 23.0, 50.0, 69.0])
def test_invented_weather_is_believed(latitude):
    assert doubtful_days(synthetic_weather(START, END, latitude, seed=12)) == {}


def test_real_weather_is_believed():
    frame = pytest.importorskip("vega_datasets").data.seattle_weather()
    seattle = DailyWeather(date(2012, 1, 1), frame["temp_min"], frame["temp_max"], "station")
    assert doubtful_days(seattle) == {}


def test_a_heat_wave_that_breaks_records_is_believed():
    days = {SUMMER + timedelta(days=n): (22.0, high) for n, high in enumerate([36.0, 39.5, 40.3, 34.0])}
    assert doubtful_days(ten_years(days=days)) == {}


@pytest.mark.parametrize(
    "tmin, tmax, reason",
    [
        (15.0, 72.0, "tmax 72 °C: such heat was never measured on earth"),
        (-95.0, 20.0, "tmin -95 °C: such cold was never measured on earth"),
        (-22.0, 25.0, "47 °C between tmin and tmax"),
        (-18.0, -4.0, r"tmin -18 °C is \d\d °C from the days before and after"),
        (13.0, 52.0, "tmax 52 °C"),
    ],
)
def test_single_impossible_days(tmin, tmax, reason):
    marks = doubtful_days(ten_years(days={SUMMER: (tmin, tmax)}))
    assert list(marks) == [SUMMER]
    assert re.match(reason, marks[SUMMER])


def test_a_week_out_of_season():
    days = {SUMMER + timedelta(days=n): (-9.0 - n / 10, -1.0 + n / 10) for n in range(7)}
    marks = doubtful_days(ten_years(days=days))
    assert set(days) <= set(marks)
    assert "where the usual of the time of year is" in marks[SUMMER + timedelta(days=3)]


def test_tenfold_values_are_marked():
    weather = synthetic_weather(date(2024, 4, 1), date(2024, 8, 31), 50.0, seed=3)
    tenfold = DailyWeather(weather.first_day, weather.tmin * 10, weather.tmax * 10, "station")
    assert len(doubtful_days(tenfold)) > 0.95 * len(weather)


@pytest.mark.parametrize("length, marked", [(6, 0), (7, 7), (12, 12)])
def test_a_stuck_sensor(length, marked):
    days = {SUMMER + timedelta(days=n): (14.2, 23.7) for n in range(length)}
    marks = doubtful_days(ten_years(days=days))
    assert len(marks) == marked
    assert all(f"tmin and tmax unchanged for {length} days" in reason for reason in marks.values())


def test_no_range_for_days_is_a_stuck_sensor():
    days = {SUMMER + timedelta(days=n): (18.0 + n, 18.0 + n) for n in range(3)}
    assert set(doubtful_days(ten_years(days=days))) == set(days)


def test_one_extreme_stuck_for_weeks():
    weather = ten_years()
    high = weather.tmax.copy()
    at = weather.index(SUMMER)
    high[at : at + 20] = 31.0
    marks = doubtful_days(DailyWeather(START, np.minimum(weather.tmin, high), high, "station"))
    assert len(marks) == 20 and "tmax unchanged for 20 days" in marks[SUMMER]


def near(weather, seed, offset=1.5):
    """A neighbour: the same weather a little warmer, with its own small noise."""
    noise = np.random.default_rng(seed).normal(0, 0.8, (2, len(weather)))
    low, high = weather.tmin + offset + noise[0], weather.tmax + offset + noise[1]
    return DailyWeather(weather.first_day, np.minimum(low, high), high, "model")


def test_a_neighbour_shows_a_day_that_is_wrong_but_possible():
    good = ten_years()
    at = good.index(SUMMER)
    wrong = ten_years(days={SUMMER: (good.tmin[at], good.tmax[at] + 13.0)})
    assert doubtful_days(wrong) == {}
    marks = doubtful_days(wrong, near(good, 5))
    assert list(marks) == [SUMMER]
    assert "where the neighbour leads to expect" in marks[SUMMER]


def test_a_steady_difference_is_no_fault():
    weather = ten_years()
    assert doubtful_days(weather, near(weather, 6, offset=8.0)) == {}


def test_unknown_days_are_not_judged():
    weather = ten_years()
    low = weather.tmin.copy()
    low[100:200] = np.nan
    part = DailyWeather(START, low, weather.tmax, "station")
    assert doubtful_days(part) == {}
    assert doubtful_days(part, near(weather, 7)) == {}


def test_short_series_do_not_trip():
    for n in (1, 2, 3):
        assert doubtful_days(DailyWeather(START, np.arange(n) * 1.1, np.arange(n) + 9.0, "bench")) == {}


def test_a_maximum_read_in_the_morning_is_found():
    """Read at 07:00, yesterday afternoon's maximum stands under today's date."""
    good = ten_years()
    high = good.tmax.copy()
    change = good.index(date(2019, 1, 1))
    high[change:] = good.tmax[change - 1 : -1]
    read_early = DailyWeather(START, np.minimum(good.tmin, high), high, "station")
    (found,) = [s for s in shifted_days(read_early, near(good, 8)) if s.variable == "tmax"]
    assert found.by == -1
    assert abs((found.first_day - date(2019, 1, 1)).days) < 183
    assert found.last_day > date(2024, 7, 1)
    assert found.correlation_moved > 0.7 > found.correlation
    assert "tmax from" in str(found) and "fits the day before better" in str(found)


def test_values_a_day_early_are_found():
    good = ten_years()
    early = DailyWeather(START - timedelta(days=1), good.tmin, good.tmax, "station")
    assert {(s.variable, s.by) for s in shifted_days(early, near(good, 9))} == {("tmin", 1), ("tmax", 1)}


def test_no_shift_where_there_is_none():
    good = ten_years()
    assert shifted_days(good, near(good, 10)) == []
    assert shifted_days(good, synthetic_weather(START, END, 50.0, seed=99)) == []
    assert shifted_days(good.between(SUMMER, SUMMER), good) == []
    assert shifted_days(good, DailyWeather(date(1990, 1, 1), [1.0], [2.0], "model")) == []


def test_crossed_raw_values_are_taken_out_and_told():
    weather, crossed = without_crossed_days(START, [1.0, 9.0, np.nan], [5.0, 2.0, 3.0], "model")
    assert weather.known.tolist() == [True, False, False]
    assert crossed == {date(2015, 1, 2): "tmin 9 °C above tmax 2 °C"}
