"""The weather of places by seasons: of the place beside, with possible years where few are known."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from phenology.model.records import Place
from phenology.weather.frost import autumn_frosts, spring_frosts
from phenology.weather.series import DailyWeather
from phenology.weather.site_weather import ENOUGH_YEARS, PlaceWeather, place_beside, site_record
from tests.phenology.gardens import NORTH, weather

BENCH = Place("bench", "Bench", 45.0, 7.0, 300.0)
NEAR, NEARER = Place("near", "Shed", 45.2, 7.0, 500.0), Place("nearer", "Roof", 45.0, 7.1)
FAR, HIGH = Place("far", "Cellar", 45.5, 7.0, 300.0), Place("high", "Hut", 45.0, 7.0, 900.0)


def at(place: Place, series: DailyWeather | None, looked: tuple[int, ...] = ()) -> PlaceWeather:
    return PlaceWeather(place, series, NORTH, looked, 2020)


def years(first: int, last: int = 2020) -> DailyWeather:
    return weather().between(date(first, 1, 1), date(last, 6, 1))


def test_a_place_has_its_own_weather_or_that_of_the_nearest_beside_it() -> None:
    known = {p.id: years(2019) for p in (NEAR, NEARER, FAR, HIGH)}
    places = [BENCH, NEAR, FAR, HIGH, NEARER]
    assert place_beside(BENCH, places, known) == NEARER
    assert place_beside(NEAR, places, known) == NEAR
    assert place_beside(BENCH, [BENCH, FAR, HIGH], known) is None
    nothing = DailyWeather(date(2020, 1, 1), [np.nan], [np.nan], "")
    assert place_beside(BENCH, [BENCH, NEAR], {"bench": nothing, "near": years(2019)}) == NEAR
    assert place_beside(BENCH, places, {}) is None


def test_real_years_serve_alone_once_there_are_enough() -> None:
    enough = site_record([(0, at(BENCH, years(2020 - ENOUGH_YEARS)))])
    assert enough.possible is None and enough.seasons == tuple(range(2015, 2021))
    few = site_record([(0, at(BENCH, years(2021 - ENOUGH_YEARS)))])
    assert few.possible is not None and few.possible.own_days > 365 * (ENOUGH_YEARS - 1)
    assert few.normals is few.possible.usual
    ends_early = years(2010).spanning(date(2010, 1, 1), date(2020, 6, 1))
    low, high = ends_early.tmin.copy(), ends_early.tmax.copy()
    autumn = np.array([date.fromordinal(int(d)).month > 9 for d in ends_early.ordinals])
    low[autumn] = high[autumn] = np.nan
    holed = DailyWeather(ends_early.first_day, low, high, "bench")
    assert site_record([(0, at(BENCH, holed))]).possible is not None  # no year knows how it went on


def test_seasons_of_looks_without_weather_are_there_and_leave_less_doubt() -> None:
    blind = site_record([(0, at(BENCH, None, (2016, 2017, 2020)))])
    assert blind.seasons == (2016, 2017, 2018, 2019, 2020) and np.isnan(blind.tmin).all()
    low, high, variance = blind.filled(2016)
    assert (low < high).all() and (variance > 0).all()
    alone = site_record([(0, at(BENCH, None))])
    assert alone.seasons == (2020,)
    spread, narrower = (one.possible.tmax[:, 150].std() for one in (alone, blind))
    assert narrower < 0.9 * spread
    measured = site_record([(0, at(BENCH, years(2016, 2019), (2016, 2017)))])
    assert np.isfinite(measured.tmin).any()
    assert at(BENCH, years(2016, 2019), (2016, 2017)).climate().covariance == pytest.approx(
        at(BENCH, years(2016, 2019)).climate().covariance
    )


def test_a_tree_that_moved_has_each_places_days_and_years() -> None:
    south = Place("south", "Yard", 30.0, 7.0, 100.0)
    here, there = site_record([(0, at(BENCH, None))]), site_record([(0, at(south, None))])
    moved = site_record([(0, at(BENCH, None)), (100, at(south, None))])
    assert moved.possible.tmin[:, :100] == pytest.approx(here.possible.tmin[:, :100])
    assert moved.possible.tmin[:, 100:] == pytest.approx(there.possible.tmin[:, 100:])
    assert moved.normals.tmax[200] == there.normals.tmax[200] != here.normals.tmax[200]


def test_forecast_days_do_not_tell_what_is_usual() -> None:
    hot = DailyWeather(date(2020, 5, 1), [25.0] * 10, [40.0] * 10, "forecast")
    told = at(BENCH, hot).climate()
    assert told.own_days == 0 and told.mean == pytest.approx(at(BENCH, None).climate().mean)


def test_frosts_come_from_possible_winters_and_none_near_the_equator() -> None:
    north = site_record([(0, at(BENCH, None))])
    autumn, spring = autumn_frosts(north, 0.0, 2020), spring_frosts(north, 0.0, 2020)
    assert len(autumn) == len(spring) == 60
    assert 270 < np.median(autumn) < 340 and 60 < np.median(spring) < 140
    tropics = site_record([(0, at(Place("t", "Yard", 4.0, 7.0, 10.0), None))])
    assert np.isinf(autumn_frosts(tropics, 0.0, 2020)).mean() > 0.95
    real = site_record([(0, at(BENCH, weather()))])
    assert len(autumn_frosts(real, 0.0, 2020)) < 30
