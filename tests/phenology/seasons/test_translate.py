"""Dates from elsewhere: the same place says the same date, warmth brings it forward, both ways agree."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from data_sources.demo.climate import synthetic_weather
from phenology.heat.clocks import HEAT_CLOCKS
from phenology.model.errors import InputError, WeatherError
from phenology.seasons.translate import ClimateOf, TooLittleHeat, hemisphere, translate
from phenology.weather.series import DailyWeather


def town(name, latitude, seed, first=2004, last=2025, **climate):
    weather = synthetic_weather(date(first, 1, 1), date(last, 12, 31), latitude, seed=seed, **climate)
    return ClimateOf.of(name, weather, latitude)


HILL, VALLEY, SOUTH = town("Hill", 50, 2), town("Valley", 42, 1), town("South", -42, 3)
JULY = date(2026, 7, 5)


def days_between(a, b):
    return abs((a.replace(year=2023) - b.replace(year=2023)).days)


@pytest.mark.parametrize("place", [HILL, VALLEY])
@pytest.mark.parametrize("day", [date(2026, 5, 1), JULY, date(2026, 8, 20)])
def test_a_place_translates_its_dates_into_themselves(place, day):
    told = translate(place, place, day)
    assert days_between(told.due, day) <= 2
    assert told.due_low < told.due < told.due_high  # years differ, so even here it is a range


def test_heat_comes_earlier_in_the_valley_and_back_again():
    down = translate(HILL, VALLEY, JULY)
    assert down.due.month == 5
    back = translate(VALLEY, HILL, down.due)
    assert days_between(back.due, JULY) <= 4


def test_the_same_climate_on_the_other_side_of_the_equator_is_half_a_year_away():
    mirror = {"mean": 12.0, "amplitude": 9.0}
    told = translate(town("N", 45, 4, **mirror), town("S", -45, 5, **mirror), JULY)
    assert told.same_day_length.month == 1
    assert abs((told.due - told.same_day_length).days) <= 6
    north = translate(town("S", -45, 5, **mirror), town("N", 45, 4, **mirror), date(2026, 1, 5))
    assert abs((north.due - north.same_day_length).days) <= 6 and north.same_day_length.month == 7


def test_one_clock_and_steady_warmth_by_hand():
    """100 days at 15 degC above 10 degC is 50 days at 20 degC, but for the clock's 2 % of calendar."""
    cool, warm = (
        ClimateOf.of(str(c), DailyWeather(date(2023, 1, 1), [c] * 365, [c] * 365, "station"), 50)
        for c in (15.0, 20.0)
    )
    told = translate(cool, warm, date(2023, 4, 10), weights={"heat above 10": 1.0})
    rate = [0.98 * (c - 10) / 8 + 0.02 for c in (15.0, 20.0)]
    assert told.due == date.fromordinal(
        date(2023, 1, 1).toordinal() + int(np.ceil(100 * rate[0] / rate[1])) - 1
    )
    assert told.due_low == told.due == told.due_high  # one year, one clock: no range, and it is said
    assert told.short_records == (("15.0", 1), ("20.0", 1))


def test_the_range_holds_four_in_five_years_of_a_known_clock():
    """Trees that keep one clock there and here: the range must hold their dates about as often as it says."""
    clock = HEAT_CLOCKS[2]
    told = translate(HILL, VALLEY, JULY)
    held = []
    for there in HILL.heat:
        needed = there[2, HILL.day_of(JULY, 2023)]
        for season, here in zip(VALLEY.years, VALLEY.heat, strict=True):
            day = VALLEY.calendar.date(season, float(np.interp(needed, here[2], np.arange(here.shape[1]))))
            held.append(told.due_low <= day.replace(year=told.due_low.year) <= told.due_high)
    assert clock.name == "heat above 5"
    assert 0.75 < np.mean(held) < 0.97


def test_a_known_year_narrows_the_range():
    usual, one = translate(HILL, VALLEY, JULY), translate(HILL, VALLEY, JULY, year=2018)
    assert one.due_high - one.due_low < usual.due_high - usual.due_low
    assert (one.years_there, usual.years_there) == (1, 22)


def test_a_vague_date_widens_it():
    vague = translate(HILL, VALLEY, date(2026, 7, 1), date(2026, 7, 31))
    sharp = translate(HILL, VALLEY, date(2026, 7, 16))
    assert vague.due_high - vague.due_low > sharp.due_high - sharp.due_low


def test_what_hardly_ever_comes_is_not_given_a_date():
    told = translate(VALLEY, town("North", 66, 9), date(2026, 9, 1))
    assert told.due is None and told.never_share > 0.5


def test_late_dates_are_called_what_they_are():
    assert translate(HILL, HILL, date(2026, 9, 20)).late
    assert not translate(HILL, HILL, JULY).late and not translate(HILL, HILL, JULY).short_records


def test_leap_day_and_last_day_are_days_of_every_season():
    assert HILL.day_of(date(2024, 2, 29), 2023) == 59
    assert HILL.day_of(date(2024, 12, 31), 2023) == 365
    assert SOUTH.day_of(date(2024, 6, 30), 2022) == 365


def test_winter_has_nothing_to_match():
    with pytest.raises(TooLittleHeat, match=r"in Hill by 10 Jan: winter work goes by the state of the buds"):
        translate(HILL, VALLEY, date(2026, 1, 10))


def test_the_hemisphere_is_read_from_the_weather_and_contradictions_are_refused():
    weather = synthetic_weather(date(2010, 1, 1), date(2012, 12, 31), -38, seed=1)
    assert hemisphere(weather) < 0
    with pytest.raises(InputError, match="north of the equator, but its weather"):
        ClimateOf.of("Oddtown", weather, 38)
    flat = DailyWeather(date(2020, 1, 1), [25.0] * 731, [30.0] * 731, "station")
    with pytest.raises(InputError, match="does not tell its hemisphere; give its latitude"):
        ClimateOf.of("Equator", flat)


def test_half_a_year_of_weather_is_not_enough():
    short = ClimateOf.of("New", synthetic_weather(date(2025, 1, 1), date(2025, 8, 1), 50), 50)
    with pytest.raises(WeatherError, match="no whole year of weather for New"):
        translate(HILL, short, JULY)
    with pytest.raises(WeatherError, match="no whole season 1999 of weather for Hill"):
        translate(HILL, VALLEY, JULY, year=1999)
    with pytest.raises(InputError, match="at least one heat clock"):
        translate(HILL, VALLEY, JULY, weights={"plain days": 1.0})
