"""Possible seasons: what is known is common, the rest comes from other years at today's climate."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from data_sources.demo.climate import synthetic_weather
from phenology.heat.clocks import HEAT_CLOCKS, accumulate
from phenology.model.errors import WeatherError
from phenology.model.season import SeasonCalendar
from phenology.weather.normals import Normals
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather
from phenology.weather.traces import FEWEST, draw_traces


def record(first=1990, last=2015, calendar=None, latitude=45.0, **climate):
    calendar = calendar or SeasonCalendar.for_latitude(latitude)
    weather = synthetic_weather(calendar.start(first), calendar.end(last), latitude, **climate)
    return SeasonWeather.cut(weather, calendar)


def test_everything_up_to_the_issue_is_common_and_the_rest_is_not():
    whole = record()
    traces = draw_traces(whole.through(2015, 140), 2015, 140)
    assert traces.issued == 140
    assert_array_equal(traces.tmin[:, :140], np.tile(whole.tmin[-1, :140], (25, 1)))
    assert_array_equal(traces.tmax[:, :140], np.tile(whole.tmax[-1, :140], (25, 1)))
    assert len(np.unique(traces.tmin[:, 200])) > 20
    sums = traces.thermal_time().sums
    assert np.ptp(sums[:, :, 140], axis=0).max() == 0
    assert (np.ptp(sums[:, : len(HEAT_CLOCKS), 365], axis=0) > 0).all()


def test_hands_over_traces_are_the_clocks_over_each():
    traces = draw_traces(record().through(2015, 140), 2015, 140)
    assert_allclose(traces.thermal_time().sums, accumulate(traces.tmin, traces.tmax).sums)


@pytest.mark.parametrize("issued", [0, 365])
def test_issued_before_the_first_day_or_on_the_last(issued):
    traces = draw_traces(record().through(2015, issued), 2015, issued)
    assert traces.tmin.shape[1] == 365
    assert np.isfinite(traces.thermal_time().sums).all()


def test_a_season_is_never_its_own_donor():
    whole = record()
    assert 2010 not in draw_traces(whole, 2010, 120).donors
    assert set(draw_traces(whole.through(2010, 120), 2010, 120).donors) == set(range(1990, 2010))


def test_no_look_ahead_whatever_the_weather_does_after_the_issue():
    whole = record()
    upset = replace(whole, tmin=whole.tmin.copy(), tmax=whole.tmax.copy())
    upset.tmin[-1, 140:] += 20
    upset.tmax[-1, 140:] += 25
    before, after = (draw_traces(r.through(2015, 140), 2015, 140) for r in (whole, upset))
    assert_array_equal(before.tmin, after.tmin)
    assert_array_equal(before.tmax, after.tmax)


def test_a_forecast_in_the_record_is_common_too():
    ahead = record().through(2015, 147)
    traces = draw_traces(ahead, 2015, 140)
    assert traces.issued == 147
    assert np.ptp(traces.tmin[:, :147], axis=0).max() == 0 < np.ptp(traces.tmin[:, 148])


def test_days_between_the_last_reading_and_the_issue_are_filled_at_a_cost():
    traces = draw_traces(record().through(2015, 130), 2015, 140)
    assert traces.issued == 140
    assert traces.gap_variance[130] == 0 < traces.gap_variance[131]
    assert_allclose(traces.gap_variance[140:], traces.gap_variance[140])
    assert (np.diff(traces.gap_variance) >= 0).all()


def test_a_cold_decade_is_brought_up_to_a_warmer_one():
    whole = record(1960, 2015, warming_per_decade=0.6, seed=4)
    seen = whole.through(2015, 120)
    trend = seen.normals.trend
    assert trend > 0.03
    traces = draw_traces(seen, 2015, 120)
    lift = {
        donor: traces.tmax[k, 120:365].mean() - whole.tmax[whole.row(donor), 120:365].mean()
        for k, donor in enumerate(traces.donors)
    }
    assert_allclose(lift[1961], trend * (2015 - 1961), atol=1e-9)
    assert_allclose(lift[2014], trend, atol=1e-9)
    # brought up, the old years are as warm as the last ones; left alone they are three degrees colder
    means = traces.tmax[:, 120:].mean(1)
    old, new = (
        means[[d in years for d in traces.donors]] for years in (range(1960, 1975), range(2000, 2015))
    )
    assert abs(old.mean() - new.mean()) < 0.7
    raw = whole.tmax[:, 120:365].mean(1)
    assert raw[-16:-1].mean() - raw[:15].mean() > 1.5


def test_a_short_record_is_left_as_it_was():
    whole = record(2003, 2015, warming_per_decade=2.0)
    traces = draw_traces(whole.through(2015, 100), 2015, 100)
    for donor in set(traces.donors):
        mine = traces.tmax[[d == donor for d in traces.donors], 100:]
        assert (mine == whole.tmax[whole.row(donor), 100:365]).all(1).sum() == 1


@pytest.mark.parametrize("past", [1, 2, 3, 7, 9])
def test_few_donors_are_shifted_until_there_are_enough_traces(past):
    whole = record(2015 - past, 2015)
    traces = draw_traces(whole.through(2015, 140), 2015, 140)
    assert len(traces.tmin) >= FEWEST
    assert len(set(traces.donors)) == past
    assert len({row.tobytes() for row in traces.tmin}) == len(traces.tmin)
    # moved in time, not in level: July stays as warm as July
    july = traces.tmax[:, 190:220].mean(1)
    assert july.std() < 4 and abs(july.mean() - whole.normals.tmax[190:220].mean()) < 3


def test_a_shift_moves_spells_and_not_the_season():
    whole = record(2012, 2015)
    day = np.arange(1.0, 367)
    smooth = 10 - 9 * np.cos(2 * np.pi * (day - 20) / 365.25)  # no spells at all: every shift is the same
    for row in range(4):
        whole.tmin[row], whole.tmax[row] = smooth, smooth + 8
    traces = draw_traces(whole.through(2015, 100), 2015, 100)
    assert len(traces.tmin) >= FEWEST
    for values, usual in ((traces.tmin, smooth), (traces.tmax, smooth + 8)):
        assert_allclose(values[:, 150:310], np.tile(usual[150:310], (len(values), 1)), atol=0.05)


def test_without_a_past_year_it_says_what_is_missing():
    with pytest.raises(WeatherError, match=r"no past season.*add at least one full year"):
        draw_traces(record(2015, 2015).through(2015, 140), 2015, 140)
    with pytest.raises(WeatherError):
        unknown = record(2014, 2015)
        draw_traces(replace(unknown, tmin=unknown.tmin * np.nan, tmax=unknown.tmax * np.nan), 2015, 140)


def test_a_donor_that_knows_too_little_of_what_is_to_come_does_not_serve():
    whole = record()
    whole.tmin[whole.row(2003), 150:300] = np.nan
    assert 2003 not in draw_traces(whole.through(2015, 140), 2015, 140).donors
    assert 2003 in draw_traces(whole.through(2015, 310), 2015, 310).donors


def test_a_normal_can_be_given_so_that_nothing_else_is_learned_from():
    whole = record()
    given = Normals(whole.normals.tmin, whole.normals.tmax, 4.0, 0.5)
    plain, lifted = (draw_traces(whole, 2015, 364, normals=n) for n in (whole.normals, given))
    assert plain.issued == lifted.issued == 365  # the whole season is on record
    early = draw_traces(whole.through(2015, 100), 2015, 100, normals=given)
    assert_allclose(
        early.tmax[0, 200] - whole.tmax[whole.row(early.donors[0]), 200], 0.5 * (2015 - early.donors[0])
    )


def test_a_leap_season_has_366_days_and_so_have_its_traces():
    traces = draw_traces(record().through(2012, 50), 2012, 50)
    assert traces.tmin.shape[1] == 366 and len(set(traces.donors)) == 22
    assert np.isfinite(traces.tmax).all()
    assert (traces.tmin <= traces.tmax).all()


def test_a_southern_season_runs_over_new_year_and_is_warm_in_january():
    south = record(1995, 2015, latitude=-37.8)
    day = south.calendar.day(date(2015, 10, 1))
    traces = draw_traces(south.through(2015, day), 2015, day)
    january = south.calendar.day(date(2016, 1, 20)) - 1
    june = south.calendar.day(date(2016, 6, 20)) - 1
    assert len(set(traces.donors)) == 20
    assert traces.tmin.shape[1] == 366  # 2015/16 holds the 29 February of 2016
    assert traces.tmax[:, january].mean() > traces.tmax[:, june].mean() + 8


def test_the_next_season_is_drawn_from_past_ones_alone():
    traces = draw_traces(record().through(2015, 300), 2016, 0)
    assert traces.issued == 0
    assert traces.tmin.shape == (26, 366)  # the season under way serves too: most of it is known
    assert np.ptp(traces.tmin[:, 0]) > 1


def test_a_series_that_begins_in_mid_season_serves_from_where_it_begins():
    weather = synthetic_weather(date(2010, 5, 1), date(2015, 12, 31), 45.0)
    cut = SeasonWeather.cut(DailyWeather(weather.first_day, weather.tmin, weather.tmax, "station"),
                            SeasonCalendar())  # fmt: skip
    assert 2010 in draw_traces(cut.through(2015, 140), 2015, 140).donors
    assert 2010 not in draw_traces(cut.through(2015, 10), 2015, 10).donors
