"""Seasons side by side: heat by today's day, days ahead, and stage dates against usual."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.model.errors import InputError
from phenology.seasons.compare import compare_seasons
from phenology.seasons.season_heat import BASE_C, cumulative_heat, heat_course
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather
from tests.phenology.gardens import ELM, NORTH, Records, day


def steady(level: dict[int, float], last=date(2020, 12, 31)) -> DailyWeather:
    """Years of one temperature each: 10 degC unless said otherwise."""
    days = [date.fromordinal(n) for n in range(date(2014, 1, 1).toordinal(), last.toordinal() + 1)]
    warm = np.array([level.get(d.year, 10.0) for d in days])
    return DailyWeather(days[0], warm, warm, "station")


def heat_of(level, n=100, **more):
    comparison = compare_seasons(
        Records.of("elm").garden(day(2020, n), weather={"bench": steady(level)}), **more
    )
    return {h.season: h for h in comparison.warmth}


def test_heat_by_the_same_date_of_every_season_by_hand():
    heat = heat_of({2020: 12.0, 2019: 8.0})  # to 9 April: 100 days of a leap year, 99 of others
    assert_allclose([heat[2020].degree_days, heat[2019].degree_days, heat[2018].degree_days], [700, 297, 495])
    assert heat[2016].degree_days == 500
    assert all(h.through == date(season, 4, 9) for season, h in heat.items())
    assert (heat[2020].rank, heat[2019].rank) == (1, len(heat))


def test_days_ahead_are_read_along_the_usual_season():
    # the others stand at 5 a day (2019 among them at 3): their mean of 6 seasons is 14 / 3 a day, and from
    # March on 5 / 6 more, for one of them had a 29 February; 9 April is the 99th of 365 dates
    heat = heat_of({2020: 12.0, 2019: 8.0})
    assert_allclose(heat[2020].days_ahead, (700 - 5 / 6) / (28 / 6) - 99)
    assert_allclose(heat[2019].days_ahead, 59 + 2 / 6 - 99)  # 297 lies between 28 February and 1 March


def test_the_season_under_way_is_not_usual_yet():
    heat = heat_of({2020: 14.0}, n=200)
    assert_allclose(heat[2019].days_ahead, (995 - 5 / 5) / 5 - 199)  # one of five others had a 29 February
    assert_allclose(heat[2020].days_ahead, (1800 - 5 / 6) / 5 - 199)


def test_a_season_warmer_already_than_a_whole_usual_one_has_no_lead_in_days():
    assert heat_of({2020: 30.0}, n=330)[2020].days_ahead is None


def test_with_under_three_other_seasons_nothing_is_usual():
    series = steady({}, date(2020, 12, 31)).between(date(2018, 1, 1), date(2020, 12, 31))
    comparison = compare_seasons(Records.of("elm").garden(day(2020, 100), weather={"bench": series}))
    assert [h.days_ahead for h in comparison.warmth] == [None, None, None]


def test_by_default_this_season_and_five_before_it():
    assert list(heat_of({})) == [2015, 2016, 2017, 2018, 2019, 2020]
    assert list(heat_of({}, seasons=[2019, 2014])) == [2014, 2019]
    with pytest.raises(InputError, match="no weather for season 2010; there is for 2014, 2015"):
        heat_of({}, seasons=[2010])


def test_gaps_are_filled_and_counted():
    series = steady({})
    tmin = series.tmin.copy()
    tmin[series.index(day(2020, 20)) : series.index(day(2020, 30))] = np.nan
    holed = DailyWeather(series.first_day, tmin, series.tmax, "station")
    comparison = compare_seasons(Records.of("elm").garden(day(2020, 100), weather={"bench": holed}), [2020])
    assert comparison.warmth[0].days_filled == 10
    assert_allclose(comparison.warmth[0].degree_days, 500, rtol=0.01)


def test_cumulative_heat_starts_at_nought_and_never_falls():
    sums = cumulative_heat(SeasonWeather.cut(steady({}), NORTH), 2019)
    assert len(sums) == 366 and sums[0] == 0
    assert_allclose(np.diff(sums), 10 - BASE_C)


def test_stage_dates_are_middles_over_trees_and_how_far_ahead_of_usual():
    records = Records.of("elm")
    records.tree("elm2")
    for season, shift in ((2016, 0), (2017, 2), (2018, 4), (2020, -8)):
        records.a_season("elm", season, 100 + shift, 130 + shift, 160 + shift)
    records.a_season("elm2", 2020, 96, 130, 160)  # new on the bench
    garden = records.garden(day(2020, 200), weather={"bench": steady({})})
    comparison = compare_seasons(garden, [2018, 2020])
    by = {(d.season, d.stage): d for d in comparison.stages}
    assert set(by) == {(s, e) for s in (2018, 2020) for e in ("budbreak", "extended", "hardened")}
    bud = by[2020, "budbreak"]
    assert (bud.species, bud.flush, bud.day, bud.trees) == (ELM, 1, 94.0, 2)
    assert_allclose(bud.days_ahead, 102 - 92)  # elm alone has other seasons to be held against
    assert_allclose(by[2018, "budbreak"].days_ahead, (100 + 102 + 92) / 3 - 104)
    assert bud.date == day(2020, 94)


def test_two_other_seasons_are_no_usual_date_and_open_ends_no_date():
    records = Records.of("elm")
    for season in (2017, 2018, 2020):
        records.a_season("elm", season, 100, 130, 160)
    flush = records.flush("elm", 2019)
    records.look(flush, 120, "extending")
    garden = records.garden(day(2020, 200), weather={"bench": steady({})})
    stages = compare_seasons(garden).stages
    assert {d.season for d in stages} == {2017, 2018, 2020}
    assert {d.days_ahead for d in stages} == {None}


def swinging(seed=0):
    """Years that swing from -2 degC in January to 20 in July, each a little different."""
    ordinals = np.arange(date(2012, 1, 1).toordinal(), date(2020, 12, 31).toordinal() + 1)
    rng = np.random.default_rng(seed)
    warmer = dict(zip(range(2012, 2021), rng.normal(0, 1.2, 9), strict=True))
    mean = 9 - 11 * np.cos(2 * np.pi * (ordinals - date(2012, 1, 15).toordinal()) / 365.25)
    mean = mean + [warmer[date.fromordinal(int(o)).year] for o in ordinals]
    return DailyWeather(date(2012, 1, 1), mean - 5, mean + 5, "station")


@pytest.mark.parametrize("when", [date(2020, 1, 20), date(2020, 11, 28)])
def test_in_winter_no_lead_is_told_but_the_season_before_it_is(when):
    comparison = compare_seasons(Records.of("elm").garden(when, weather={"bench": swinging()}))
    assert {h.days_ahead for h in comparison.warmth} == {None} and comparison.usual_known
    assert comparison.ahead_on(2018, 181) is not None and comparison.ahead_on(2018, 20) is None


def test_the_course_ends_today_and_is_whole_for_past_seasons():
    comparison = compare_seasons(Records.of("elm").garden(day(2020, 160), weather={"bench": swinging()}))
    assert len(comparison.courses[2020].ahead) == 161 and len(comparison.courses[2019].ahead) == 366
    today = next(h for h in comparison.warmth if h.season == 2020)
    assert comparison.ahead_on(2020, 160) == pytest.approx(today.days_ahead)
    assert comparison.ahead_on(2020, 161) is None


def test_the_rank_is_told_among_the_shown_and_among_all_known_to_this_day():
    heat = heat_of({2020: 12.0, 2014: 20.0, 2019: 8.0})
    assert (heat[2020].rank, heat[2020].rank_of_all, heat[2020].of_all) == (1, 2, 7)


def test_a_season_that_lacks_its_spring_is_not_ranked_against():
    series = steady({2014: 20.0})
    late = series.between(date(2014, 3, 20), series.last_day)
    comparison = compare_seasons(Records.of("elm").garden(day(2020, 100), weather={"bench": late}))
    ranks = {h.season: (h.rank_of_all, h.of_all) for h in comparison.warmth}
    assert {season for season, rank in ranks.items() if rank == (1, 6)} == {2016, 2020}  # a day more by then
    assert {rank for season, rank in ranks.items() if season not in (2016, 2020)} == {(3, 6)}
    early = compare_seasons(comparison.garden, [2014]).warmth[0]
    assert early.degree_days is None and early.rank is None and early.days_ahead is None


def test_a_season_lacking_only_its_beginning_gets_a_lead_once_enough_is_measured():
    series = steady({2014: 6.0})
    late = series.between(date(2014, 1, 12), series.last_day)
    comparison = compare_seasons(Records.of("elm").garden(day(2020, 100), weather={"bench": late}), [2014])
    assert comparison.ahead_on(2014, 60) is None  # 11 of 60 days are filled
    assert comparison.ahead_on(2014, 200) is not None


def test_a_season_with_a_hole_in_its_spring_is_not_called_cool():
    series = steady({})
    tmin = series.tmin.copy()
    tmin[series.index(day(2020, 20)) : series.index(day(2020, 60))] = np.nan
    holed = DailyWeather(series.first_day, tmin, series.tmax, "station")
    course = heat_course(Records.of("elm").garden(day(2020, 100), weather={"bench": holed}))
    assert course.lead is None and "too little weather measured" in course.words
