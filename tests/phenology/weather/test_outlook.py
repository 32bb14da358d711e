"""Forecast days in the traces: sure tomorrow, unsure in a week, past years beyond."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from data_sources.demo.climate import synthetic_weather
from phenology.advice.garden_forecast import forecast_garden
from phenology.heat.clocks import CLOCKS
from phenology.model.season import SeasonCalendar
from phenology.weather.outlook import DEFAULT_SD, ForecastSkill, Outlook
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather
from phenology.weather.traces import draw_traces
from tests.phenology.advice.test_garden_forecast import a_nursery, growing
from tests.phenology.gardens import day, weather

NORTH = SeasonCalendar()
TODAY = 140
ISSUED = day(2015, TODAY)
EXACT = ForecastSkill(np.full(16, 1e-6), np.zeros(16), np.zeros(16, dtype=np.int64))


def known(ahead: int, *, warmer: float = 0.0, lag: int = 0) -> DailyWeather:
    """Twenty-six years measured to day 140 less a lag, and a forecast of some days after it."""
    whole = synthetic_weather(date(1990, 1, 1), ISSUED + timedelta(days=ahead), 45.0)
    source = np.full(len(whole), "station", dtype="<U8")
    low, high = whole.tmin.copy(), whole.tmax.copy()
    if ahead + lag:
        source[-ahead - lag :] = "forecast"
        low[-ahead - lag :] += warmer
        high[-ahead - lag :] += warmer
    return DailyWeather(whole.first_day, low, high, source)


def drawn(weather: DailyWeather, skill: ForecastSkill | None = None, members=()):
    outlook = Outlook(ISSUED, skill or ForecastSkill.default(), members)
    return draw_traces(SeasonWeather.cut(weather, NORTH), 2015, TODAY, outlook=outlook)


def middles(traces) -> np.ndarray:
    return (traces.tmin + traces.tmax) / 2


def test_the_spread_grows_with_the_days_ahead_up_to_that_of_past_years():
    spread, usual = (middles(drawn(known(ahead))).std(0) for ahead in (16, 0))
    assert spread[TODAY - 1] == 0 < spread[TODAY]
    share = (spread / np.maximum(usual, 1e-9))[TODAY : TODAY + 16]
    assert (np.diff(share) > -1e-3).all() and share[0] < 0.6 and share[-1] > 0.9
    assert_allclose(spread[TODAY + 16 :], usual[TODAY + 16 :], rtol=1e-4)


def test_the_spread_is_the_error_of_the_lead():
    """With the usual spread s and the error e of a lead, r = 1 - e² / 2s² and sqrt(1 - r²) of s is left."""
    traces, alone = drawn(known(10)), drawn(known(0))
    ahead = slice(TODAY, TODAY + 10)
    s = SeasonWeather.cut(known(10), NORTH).normals.spread
    r = 1 - np.array(DEFAULT_SD[1:11]) ** 2 / (2 * s**2)
    usual = middles(alone)[:, ahead].std(0)
    assert_allclose(middles(traces)[:, ahead].std(0), np.sqrt(1 - r**2) * usual, rtol=1e-3)


def test_a_forecast_without_error_is_common_to_all_and_one_without_skill_is_ignored():
    weather = known(7, warmer=5.0)
    exact, none = drawn(weather, EXACT), drawn(weather, replace(EXACT, sd=np.full(16, 99.0)))
    row = SeasonWeather.cut(weather, NORTH)
    ahead = slice(TODAY, TODAY + 7)
    assert_allclose(exact.tmax[:, ahead], np.tile(row.tmax[-1, ahead], (len(exact.tmax), 1)), atol=1e-4)
    assert_allclose(none.tmax, drawn(known(0)).tmax, atol=1e-4)  # the usual year differs by a hair


def test_default_skill_lies_between_exact_and_none():
    weather = known(7, warmer=5.0)
    traces = [drawn(weather, EXACT), drawn(weather), drawn(known(0))]
    heat = [
        t.thermal_time(CLOCKS[:1]).sums[:, 0, TODAY + 7] - t.thermal_time(CLOCKS[:1]).sums[:, 0, TODAY]
        for t in traces
    ]
    means, spreads = [h.mean() for h in heat], [h.std() for h in heat]
    assert means == sorted(means, reverse=True) and means[0] > means[2] + 1
    assert spreads == sorted(spreads) and spreads[1] > 0.1


def test_measured_days_are_exact_whatever_follows():
    weather = known(7)
    measured = SeasonWeather.cut(weather, NORTH).tmin[-1, :TODAY]
    assert_array_equal(drawn(weather).tmin[:, :TODAY], np.tile(measured, (len(drawn(weather).tmin), 1)))


def test_days_not_yet_measured_come_from_the_forecast_and_are_nearly_sure():
    traces = drawn(known(7, lag=3))
    spread = middles(traces).std(0)
    assert traces.issued == TODAY - 3
    assert traces.gap_variance[-1] == 0
    assert 0 < spread[TODAY - 3 : TODAY].max() < spread[TODAY + 6]


def test_an_older_forecast_knows_less_of_the_same_day():
    weather, record = known(7), SeasonWeather.cut(known(7), NORTH)
    old = draw_traces(record, 2015, TODAY, outlook=Outlook(ISSUED - timedelta(days=5)))
    assert (middles(old).std(0) > middles(drawn(weather)).std(0))[TODAY : TODAY + 7].all()


def test_the_forecast_may_reach_into_the_next_season():
    whole = synthetic_weather(date(1990, 1, 1), date(2016, 1, 5), 45.0)
    source = np.full(len(whole), "station", dtype="<U8")
    source[-8:] = "forecast"
    weather = DailyWeather(whole.first_day, whole.tmin, whole.tmax, source)
    outlook = Outlook(date(2015, 12, 28))
    traces = draw_traces(SeasonWeather.cut(weather, NORTH), 2016, 0, outlook=outlook)
    spread = middles(traces).std(0)
    assert traces.issued == 0 and spread[:2].max() < 0.8 * spread[10:40].mean()


def ensemble(centre: DailyWeather, spread: float, n: int = 11, days: int = 7) -> list[DailyWeather]:
    """Members that lie evenly about a forecast, one course as many degrees above as another is below."""
    part = centre.between(ISSUED + timedelta(days=1), ISSUED + timedelta(days=days))
    steps = np.linspace(-1, 1, n) * spread * np.sqrt(3 * (n - 1) / (n + 1))
    return [DailyWeather(part.first_day, part.tmin + d, part.tmax + d, "forecast") for d in steps]


def test_members_that_spread_widely_become_the_traces():
    weather = known(7)
    members = ensemble(weather, spread=4.0)
    traces = drawn(weather, EXACT, members)
    found = traces.tmax[:, TODAY + 3]
    told = [m.tmax[3] for m in members]
    assert_allclose(np.unique(found.round(3)), np.unique(np.round(told, 3)), atol=2e-3)
    assert_allclose(middles(traces).std(0)[TODAY + 3], 4.0, rtol=0.1)


def test_members_that_agree_too_well_are_topped_up_from_past_years():
    weather = known(7)
    narrow, plain = (drawn(weather, None, m) for m in (ensemble(weather, spread=0.3), ()))
    ahead = slice(TODAY, TODAY + 7)
    assert_allclose(middles(narrow)[:, ahead].std(0), middles(plain)[:, ahead].std(0), rtol=0.15)


def test_members_speak_alone_where_there_is_no_forecast():
    weather = known(7)
    traces = drawn(known(0), EXACT, ensemble(weather, spread=1.0))
    assert_allclose(middles(traces)[:, TODAY + 2].mean(), middles_of(weather)[-5], atol=0.3)


def middles_of(weather: DailyWeather) -> np.ndarray:
    return (weather.tmin + weather.tmax) / 2


@pytest.mark.parametrize("days_ago", [60, 400])
def test_an_ensemble_of_long_ago_says_nothing(days_ago):
    weather = known(0)
    shift = timedelta(days=days_ago)
    members = [DailyWeather(m.first_day - shift, m.tmin, m.tmax, "forecast") for m in ensemble(known(7), 4.0)]
    assert_array_equal(drawn(weather, None, members).tmin, drawn(weather).tmin)


def test_hindcasts_have_no_forecast_days_and_do_not_change():
    record = SeasonWeather.cut(known(0), NORTH)
    assert record.forecast is None
    given = draw_traces(record.through(2010, 120), 2010, 120, outlook=Outlook(day(2010, 120)))
    assert_array_equal(given.tmin, draw_traces(record.through(2010, 120), 2010, 120).tmin)


def test_a_warm_forecast_brings_a_gardens_dates_forward_and_half_as_much_where_it_is_doubted():
    """Bud break was seen; ten days of warmth are promised."""
    records = growing(a_nursery(), (98, "dormant"), (103, "budbreak"))
    today = day(2020, 103)

    def median(outlook: Outlook | None, promised: bool) -> float:
        garden = records.garden(today)
        whole = weather(45.0)
        if promised:
            until = today + timedelta(days=10)
            part = whole.between(whole.first_day, until)
            source = part.source.copy()
            source[-10:] = "forecast"
            low, high = part.tmin.copy(), part.tmax.copy()
            low[-10:], high[-10:] = 16.0, 28.0
            garden = replace(garden, weather={"bench": DailyWeather(part.first_day, low, high, source)})
            assert garden.forecast_through() == until
        if outlook:
            garden = replace(garden, outlooks={"bench": outlook})
        row = next(r for r in forecast_garden(garden).rows if r.stage == "extended")
        return row.day(0.5)

    exact, doubted, none = median(Outlook(today, EXACT), True), median(None, True), median(None, False)
    assert exact < doubted < none
