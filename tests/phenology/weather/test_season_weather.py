"""A daily series cut into seasons: where days land, what is hidden, and the clocks over whole seasons."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.clocks import CLOCKS, LIGHT_CLOCK, accumulate
from phenology.model.season import SeasonCalendar
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather

SOUTH = SeasonCalendar.for_latitude(-37.8)


def counting(first: date, last: date) -> DailyWeather:
    """Every day's minimum is its own ordinal, so that a misplaced day shows."""
    n = np.arange(first.toordinal(), last.toordinal() + 1, dtype=float)
    return DailyWeather(first, n, n + 1, "station")


@pytest.mark.parametrize("calendar", [SeasonCalendar(), SOUTH, SeasonCalendar(3, 1)])
def test_every_day_lands_on_its_day_of_season(calendar):
    first, last = date(2022, 11, 5), date(2025, 2, 3)
    record = SeasonWeather.cut(counting(first, last), calendar)
    day = first
    while day <= last:
        season = calendar.season_of(day)
        assert record.tmin[record.row(season), calendar.day(day) - 1] == day.toordinal()
        day += timedelta(days=1)
    assert np.isfinite(record.tmin).sum() == (last - first).days + 1


def test_the_29_february_of_a_southern_season_is_its_244th_day():
    record = SeasonWeather.cut(counting(date(2023, 7, 1), date(2025, 6, 30)), SOUTH)
    assert record.tmin[record.row(2023), 243] == date(2024, 2, 29).toordinal()
    assert np.isfinite(record.tmin[record.row(2023)]).all()  # 366 days
    assert np.isnan(record.tmin[record.row(2024), 365])
    assert len(record.filled(2023)[0]) == 366 and len(record.filled(2024)[0]) == 365


def test_hiding_the_future_leaves_nothing_after_the_day():
    record = SeasonWeather.cut(counting(date(2020, 1, 1), date(2023, 12, 31)), SeasonCalendar())
    seen = record.through(2021, 100)
    assert np.isfinite(seen.tmin[1, :100]).all() and np.isnan(seen.tmin[1, 100:]).all()
    assert np.isnan(seen.tmax[2:]).all()
    assert np.isfinite(seen.tmax[0, :366]).all()
    assert np.isfinite(record.tmin[1, :365]).all()  # the record itself is untouched


def test_hiding_one_season_or_its_end_leaves_the_others_whole():
    record = SeasonWeather.cut(counting(date(2020, 1, 1), date(2023, 12, 31)), SeasonCalendar())
    without, part = record.without(2021), record.through_only(2021, 100)
    assert np.isnan(without.tmin[1]).all()
    assert np.isnan(part.tmin[1, 100:]).all() and np.isfinite(part.tmin[1, :100]).all()
    for other in (without, part):
        assert np.isfinite(other.tmin[[2, 3], :365]).all()


def test_a_season_it_does_not_reach():
    record = SeasonWeather.cut(counting(date(2020, 1, 1), date(2021, 12, 31)), SeasonCalendar())
    with pytest.raises(KeyError):
        record.row(2022)
    wide = record.widened(2018, 2022)
    assert wide.seasons == (2018, 2019, 2020, 2021, 2022)
    assert_allclose(wide.tmin[2], record.tmin[0])
    assert np.isnan(wide.tmin[[0, 1, 4]]).all()
    assert record.widened(2021, 2021).seasons == record.seasons


def test_hands_of_a_season_are_its_clocks_and_the_running_cost_of_its_gaps():
    day = np.arange(730.0)
    low = 8 - 8 * np.cos(2 * np.pi * (day - 20) / 365)
    weather = DailyWeather(date(2021, 1, 1), np.where(day == 400, np.nan, low), low + 9, "station")
    record = SeasonWeather.cut(weather, SeasonCalendar())
    thermal_time = record.thermal_time([2021, 2022])
    assert_allclose(thermal_time[2021].thermal_time.sums, accumulate(low[:365], low[:365] + 9, CLOCKS).sums)
    assert (thermal_time[2021].gap_variance == 0).all()
    gap = thermal_time[2022].gap_variance
    assert gap[35] == 0 < gap[36] == gap[-1]


@pytest.mark.parametrize(("latitude", "longest"), [(52.0, (6, 21)), (-37.0, (12, 21))])
def test_daylight_is_longest_at_midsummer_of_its_own_half_of_the_world(latitude, longest):
    calendar = SeasonCalendar.for_latitude(latitude)
    weather = DailyWeather(date(2019, 1, 1), np.full(1200, 5.0), np.full(1200, 15.0), np.full(1200, "bench"))
    record = SeasonWeather.cut(weather, calendar, latitude)
    light = record.daylight(2020, 365)
    day = calendar.date(2020, int(light.argmax()) + 1)
    assert abs((day - date(day.year, *longest)).days) <= 2
    assert SeasonWeather.cut(weather, calendar).daylight(2020, 365) is None


def test_without_a_latitude_all_days_are_equally_long():
    low = np.full(365, 10.0)
    weather = DailyWeather(date(2021, 1, 1), low, low + 9, np.full(365, "bench"))
    blind = SeasonWeather.cut(weather, SeasonCalendar()).thermal_time([2021])[2021].thermal_time.sums
    seeing = SeasonWeather.cut(weather, SeasonCalendar(), 52.0).thermal_time([2021])[2021].thermal_time.sums
    k = CLOCKS.index(LIGHT_CLOCK)
    assert_allclose(blind[k], np.arange(366))
    # half a year of short days runs ahead of the calendar, the long days fall behind it
    assert seeing[k, 60] > 75 and np.diff(seeing[k])[171] < 0.65
    others = [n for n, clock in enumerate(CLOCKS) if not clock.by_light]
    assert_allclose(blind[others], seeing[others])
