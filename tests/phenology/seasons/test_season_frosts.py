"""First and last frosts of each season at each place, told only as far as they are known."""

from __future__ import annotations

from datetime import date

import numpy as np

from phenology.model.records import Place
from phenology.model.season import SeasonCalendar
from phenology.seasons.compare import season_frosts
from phenology.weather.series import DailyWeather
from tests.phenology.gardens import NORTH, Records

SOUTH = SeasonCalendar(7, 1)


def year_round(frosts, first=date(2017, 1, 1), last=date(2020, 12, 31), south=False, source="station"):
    """Nights that swing from 3 to 15 degC through the year, and frosts on the days named."""
    days = np.arange(first.toordinal(), last.toordinal() + 1)
    swing = np.cos(2 * np.pi * (days - date(2020, 7, 20).toordinal()) / 365.25) * (-1 if south else 1)
    low = 9 + 6 * swing
    for frost in frosts:
        low[frost.toordinal() - first.toordinal()] = -1.0
    return DailyWeather(first, low, low + 10, source)


def bench(as_of, weather, calendar=NORTH, seasons=(2018, 2019, 2020)):
    records = Records(calendar)
    records.tree("elm")
    garden = records.garden(as_of, weather={"bench": weather})
    return {f.season: f for f in season_frosts(garden, seasons)}


FROSTS = [date(2018, 4, 10), date(2018, 10, 20), date(2019, 4, 20), date(2019, 11, 2), date(2020, 4, 2)]


def test_dates_and_the_days_between_them():
    found = bench(date(2020, 12, 1), year_round(FROSTS))
    assert found[2019].last_in_spring == date(2019, 4, 20)
    assert found[2019].first_in_autumn == date(2019, 11, 2)
    assert found[2019].days_between == (date(2019, 11, 2) - date(2019, 4, 20)).days - 1


def test_before_midsummer_the_last_frost_may_yet_be_outdone():
    found = bench(date(2020, 4, 30), year_round(FROSTS))
    assert found[2020].may_yet_be_later and found[2020].last_in_spring == date(2020, 4, 2)
    assert found[2020].first is None and found[2020].days_between is None
    found = bench(date(2020, 8, 30), year_round(FROSTS))
    assert not found[2020].may_yet_be_later and found[2020].first is None  # none yet is not none


def test_a_forecast_frost_has_not_come():
    weather = year_round([*FROSTS, date(2020, 10, 12)])
    source = weather.source.copy()
    source[weather.index(date(2020, 10, 10)) :] = "forecast"
    forecast = DailyWeather(weather.first_day, weather.tmin, weather.tmax, source)
    records = Records.of("elm")
    from dataclasses import replace

    garden = replace(
        records.garden(date(2020, 10, 9), weather={"bench": weather}), weather={"bench": forecast}
    )
    assert season_frosts(garden, (2020,))[0].first is None


def test_a_frost_after_new_year_belongs_to_the_winter_of_its_season():
    found = bench(date(2020, 12, 1), year_round([date(2018, 4, 10), date(2020, 1, 8), date(2020, 4, 2)]))
    assert found[2019].first_in_autumn == date(2020, 1, 8)


def test_a_winter_without_frost_is_told_as_none():
    found = bench(date(2020, 12, 1), year_round([]))
    assert found[2019].no_frost_in_spring and found[2019].no_frost_in_autumn
    assert found[2019].first_in_autumn is None and found[2019].days_between is None


def test_frosts_of_the_south_stand_around_new_year():
    frosts = [date(2018, 10, 3), date(2019, 5, 14)]
    found = bench(date(2020, 6, 1), year_round(frosts, south=True), SOUTH, (2018,))
    assert found[2018].last_in_spring == date(2018, 10, 3)
    assert found[2018].first_in_autumn == date(2019, 5, 14)


def test_each_place_with_weather_has_its_own():
    records = Records.of("elm")
    records.places += [Place("hollow", "Hollow", 45.0, 7.0), Place("shed", "Shed", 45.0, 7.0)]
    weather = {"bench": year_round(FROSTS), "hollow": year_round([*FROSTS, date(2019, 5, 9)])}
    found = season_frosts(records.garden(date(2020, 8, 1), weather=weather), (2019,))
    assert [(f.place, f.last) for f in found] == [("Bench", 110), ("Hollow", 129)]
