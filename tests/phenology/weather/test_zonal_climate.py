"""The usual warmth of a latitude: north and south, high and low, near the equator, and what own days tell."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from phenology.model.season import SeasonCalendar
from phenology.weather.normals import BEYOND_DAYS
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.traces import draw_traces
from phenology.weather.zonal_climate import ZONE_LATITUDES, ZONE_MEANS, ZonalClimate

NORTH, SOUTH = SeasonCalendar(), SeasonCalendar(7, 1)
latitudes = st.floats(0.0, 70.0)


def middle(climate: ZonalClimate, calendar: SeasonCalendar = NORTH) -> np.ndarray:
    usual = climate.usual(calendar)
    return (usual.tmin + usual.tmax) / 2


def days_like(climate: ZonalClimate, warmer: float, first: date, days: int) -> tuple[np.ndarray, np.ndarray]:
    """Days as they usually are, so much warmer."""
    usual = climate.usual(NORTH)
    at = slice(NORTH.day(first) - 1, NORTH.day(first) - 1 + days)
    return usual.tmin[at] + warmer, usual.tmax[at] + warmer


def test_zones_agree_with_the_two_terms_of_an_energy_balance() -> None:
    """14.97 - 28 P2(sin latitude), North, Cahalan & Coakley 1981 (from memory, unverified)."""
    for latitude, mean in zip(ZONE_LATITUDES, ZONE_MEANS, strict=True):
        if -55 <= latitude <= 65:
            x = np.sin(np.radians(latitude))
            assert mean == pytest.approx(14.97 - 28.0 * (3 * x * x - 1) / 2, abs=2.7), latitude


@given(latitudes.filter(lambda x: x > 15))
def test_the_south_has_its_summer_half_a_year_later_and_a_milder_year(latitude: float) -> None:
    north, south = ZonalClimate.at(latitude, 100.0), ZonalClimate.at(-latitude, 100.0)
    apart = int(np.argmax(middle(south))) - int(np.argmax(middle(north)))
    assert abs(abs(apart) - 183) <= 1
    assert np.ptp(middle(south)) < np.ptp(middle(north))
    # from the south's own first day its year rises and falls as the north's does from January
    assert abs(int(np.argmax(middle(south, SOUTH))) - int(np.argmax(middle(north)))) <= 3


@given(latitudes, st.floats(0, 2500), st.floats(50, 1500))
def test_higher_ground_is_colder_all_year_and_less_sure(latitude: float, height: float, more: float) -> None:
    low, high = ZonalClimate.at(latitude, height), ZonalClimate.at(latitude, height + more)
    assert middle(low) - middle(high) == pytest.approx(np.full(366, 5.5 * more / 1000))
    assert (high.sd_on(NORTH) > low.sd_on(NORTH)).all()


def test_a_height_that_nobody_gave_is_a_low_one_and_less_sure() -> None:
    unknown, known = ZonalClimate.at(47.0), ZonalClimate.at(47.0, 200.0)
    assert middle(unknown) == pytest.approx(middle(known))
    assert unknown.covariance[0, 0] > known.covariance[0, 0]


def test_near_the_equator_all_year_is_warm_and_no_hemisphere_jumps() -> None:
    for latitude in (-12.0, -5.0, 0.0, 5.0, 12.0):
        year = middle(ZonalClimate.at(latitude, 0.0))
        assert np.ptp(year) < 9 and year.min() > 20, latitude
    assert middle(ZonalClimate.at(0.01)) == pytest.approx(middle(ZonalClimate.at(-0.01)), abs=0.3)


def test_no_spring_comes_in_january_at_sixty_north() -> None:
    climate = ZonalClimate.at(60.0, 50.0)
    january = middle(climate)[:31].mean()
    assert january + 1.28 * climate.sd_on(NORTH)[15] < 5.0
    warm = np.flatnonzero(middle(climate) > 5.0)[0] + 1
    assert 90 < warm < 140


@given(latitudes, st.floats(-5, 5), st.integers(1, 300))
def test_own_days_draw_the_year_towards_them_and_narrow_it(latitude: float, warmer: float, days: int) -> None:
    before = ZonalClimate.at(latitude, 100.0)
    after = before.given(date(2025, 2, 1), *days_like(before, warmer, date(2025, 2, 1), days))
    assert (after.sd_on(NORTH) < before.sd_on(NORTH) + 1e-9).all()
    moved = middle(after)[32 : 32 + days].mean() - middle(before)[32 : 32 + days].mean()
    assert -1e-9 <= moved * np.sign(warmer) <= abs(warmer) + 1e-9
    assert after.own_days == days


@given(st.integers(2, 150), st.integers(2, 150))
def test_more_own_days_narrow_further(some: int, more: int) -> None:
    prior = ZonalClimate.at(50.0, 100.0)
    few = prior.given(date(2025, 4, 1), *days_like(prior, 1.0, date(2025, 4, 1), some))
    many = prior.given(date(2025, 4, 1), *days_like(prior, 1.0, date(2025, 4, 1), some + more))
    at = 91 + (some + more) // 2
    assert many.sd_on(NORTH)[at] < few.sd_on(NORTH)[at]


def test_unknown_days_tell_nothing_and_few_own_years_nearly_all() -> None:
    prior = ZonalClimate.at(50.0, 100.0)
    assert prior.given(date(2025, 1, 1), np.full(90, np.nan), np.full(90, np.nan)) is prior
    low, high = days_like(prior, 4.0, date(2025, 1, 1), 365)
    after = prior.given(date(2023, 1, 1), np.tile(low, 3), np.tile(high + 3.0, 3))
    assert middle(after).mean() - middle(prior).mean() == pytest.approx(5.5, abs=0.5)
    assert after.day_range == pytest.approx(prior.day_range + 3.0, abs=0.3)
    assert after.sd_on(NORTH).max() < 1.2 < prior.sd_on(NORTH).min()


@pytest.mark.parametrize("latitude", [-38.0, 2.0, 48.0, 66.0])
def test_possible_years_are_as_the_year_is_believed_to_be(latitude: float) -> None:
    climate, calendar = ZonalClimate.at(latitude, 300.0), SeasonCalendar.for_latitude(latitude)
    years = climate.years(calendar)
    assert years.tmin.shape == (60, 366 + BEYOND_DAYS) and (years.tmin < years.tmax).all()
    assert np.array_equal(years.tmin, climate.years(calendar).tmin)
    drawn = (years.tmin + years.tmax)[:, :366] / 2
    assert drawn.mean(0) == pytest.approx(middle(climate, calendar), abs=0.01)
    weather = climate.spread**2
    believed = np.sqrt(climate.sd_on(calendar) ** 2 + weather)
    assert drawn.std(0).mean() == pytest.approx(believed.mean(), rel=0.15)


def test_traces_take_possible_years_and_keep_what_was_measured() -> None:
    climate = ZonalClimate.at(48.0, 300.0)
    low, high = days_like(climate, 2.0, date(2024, 3, 1), 45)
    record = SeasonWeather.unknown(NORTH, 2024, 48.0)
    record.tmin[0, 60:105], record.tmax[0, 60:105] = low, high
    record = SeasonWeather(NORTH, (2024,), record.tmin, record.tmax, None, 48.0, climate.years(NORTH))
    traces = draw_traces(record, 2024, 150)
    assert traces.tmin.shape == (60, 366) and traces.donors == ()  # a leap year, and no past one
    assert (traces.tmin[:, 60:105] == low).all() and (traces.tmax[:, 60:105] == high).all()
    assert traces.issued == 0 and traces.tmax[:, 59].std() > 1 and traces.tmax[:, 105].std() > 1
    assert not traces.gap_variance.any()
    record.tmin[0, :60], record.tmax[0, :60] = -2.0, 8.0
    assert draw_traces(record, 2024, 150).issued == 105
