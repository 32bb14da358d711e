"""Stages by tree: the middle of the looks, and the warmth from the season's start and the flush's own."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from phenology.model.season import SeasonCalendar
from phenology.seasons.compare import compare_seasons
from phenology.seasons.tree_stages import loose_stages, tree_stages
from phenology.seasons.trends import garden_trends
from phenology.weather.series import DailyWeather
from tests.phenology.gardens import NORTH, Records, day

SOUTH = SeasonCalendar(7, 1)


def steady(celsius=15.0, first=date(2014, 1, 1), last=date(2021, 12, 31)):
    days = (last - first).days + 1
    return DailyWeather(first, np.full(days, celsius), np.full(days, celsius), "station")


def one_elm(calendar=NORTH, season=2020, **more):
    records = Records(calendar)
    records.tree("elm")
    records.a_season("elm", season, 100, 130, 160)
    return records


def garden_trends_of(garden):
    """Stages that have dates to take a trend of."""
    return {trend.what for trend in garden_trends(garden) if trend.species}


def by_stage(records, as_of, celsius=15.0, **weather):
    garden = records.garden(as_of, weather={"bench": steady(celsius, **weather)})
    return {(s.flush, s.stage): s for s in tree_stages(garden)}


def test_warmth_from_the_seasons_start_and_from_its_own_bud_break_by_hand():
    seen = by_stage(one_elm(), day(2020, 200))
    bud, extended, hard = (seen[1, s] for s in ("budbreak", "extended", "hardened"))
    assert [s.day for s in (bud, extended, hard)] == [100, 130, 160]
    assert [s.degree_days_from_season_start for s in (bud, extended, hard)] == pytest.approx(
        [1000, 1300, 1600]
    )  # 10 a day
    assert [(s.counted_from, s.degree_days) for s in (bud, extended, hard)] == [
        ("start", pytest.approx(1000)), ("budbreak", pytest.approx(300)), ("budbreak", pytest.approx(600)),
    ]  # fmt: skip


def test_a_woken_flush_is_counted_from_its_work():
    records = one_elm()
    work = records.work("elm", 2020, 165, "cutback")
    records.seen("elm", 2020, (183, "dormant"), (187, "budbreak"), started_by="work", work_id=work)
    bud = by_stage(records, day(2020, 200))[2, "budbreak"]
    assert bud.counted_from == "work" and bud.degree_days == pytest.approx(10 * (185 - 164.5))


def test_a_flush_that_came_unasked_has_no_beginning_to_count_from():
    records = one_elm()
    records.seen("elm", 2020, (183, "dormant"), (187, "budbreak"), started_by="seen")
    bud = by_stage(records, day(2020, 200))[2, "budbreak"]
    assert (bud.counted_from, bud.degree_days) == (
        None,
        None,
    ) and bud.degree_days_from_season_start == pytest.approx(1850)


def test_without_a_bud_break_on_record_only_the_season_counts():
    records = Records.of("elm")
    records.seen("elm", 2020, (158, "extended"), (162, "hardened"))
    seen = by_stage(records, day(2020, 200))
    assert set(seen) == {(1, "hardened")}
    assert (
        seen[1, "hardened"].degree_days_from_season_start == pytest.approx(1600)
        and seen[1, "hardened"].degree_days is None
    )


@pytest.mark.parametrize(("gap", "dated"), [(35, True), (36, False)])
def test_looks_more_than_five_weeks_apart_date_no_stage(gap, dated):
    records = Records.of("elm")
    records.seen("elm", 2020, (99, "dormant"), (101, "budbreak"), (101 + gap, "turning"))
    garden = records.garden(day(2020, 200), weather={"bench": steady()})
    seen = {s.stage: s.day for s in tree_stages(garden)}
    assert seen == {"budbreak": 100} | (
        dict.fromkeys(("extended", "hardened"), 101 + gap / 2) if dated else {}
    )
    assert loose_stages(garden) == ([] if dated else [(garden.trees[0], 2020)] * 2)
    assert garden_trends_of(garden) == set(seen)


def test_warmth_is_not_counted_from_a_bud_break_without_a_date():
    records = Records.of("elm")
    flush = records.flush("elm", 2020)
    for n, stage in ((60, "dormant"), (100, "budbreak"), (150, "extending"), (160, "extended")):
        records.look(flush, n, stage)
    seen = by_stage(records, day(2020, 200))
    assert set(seen) == {(1, "extended")} and seen[1, "extended"].degree_days is None


def test_too_little_weather_gives_a_date_and_no_warmth():
    late_start = by_stage(one_elm(), day(2020, 200), first=day(2020, 60))
    assert (
        late_start[1, "budbreak"].day == 100
        and late_start[1, "budbreak"].degree_days_from_season_start is None
    )


def test_warmth_follows_a_tree_that_moved():
    records = one_elm()
    warm = records.places[0].__class__("glass", "Glasshouse", 45.0, 7.0)
    records.places.append(warm)
    records.stands.append(records.stands[0].__class__("s2", "elm", "glass", day(2020, 121)))
    weather = {"bench": steady(15.0), "glass": steady(25.0)}
    seen = {s.stage: s for s in tree_stages(records.garden(day(2020, 200), weather=weather))}
    assert seen["extended"].degree_days == pytest.approx(10 * 20 + 20 * 10)


def test_a_tree_is_ahead_of_its_own_other_seasons_only():
    records = Records()
    for name, shift in (("early", -20), ("late", 20)):
        records.tree(name)
        for season in (2016, 2017, 2018):
            records.a_season(name, season, 100 + shift, 130 + shift, 160 + shift)
    records.a_season("late", 2020, 116, 146, 176)
    records.a_season("early", 2020, 76, 106, 136)
    garden = records.garden(day(2020, 200), weather={"bench": steady()})
    now = {(s.tree_id, s.stage): s.days_ahead for s in tree_stages(garden) if s.season == 2020}
    assert now["late", "budbreak"] == pytest.approx(4) and now["early", "hardened"] == pytest.approx(4)
    past = [s.days_ahead for s in tree_stages(garden) if s.season == 2016 and s.tree_id == "late"]
    assert past[0] == pytest.approx((120 + 120 + 116) / 3 - 120)


def test_seasons_of_the_south_begin_in_july():
    records = one_elm(SOUTH, 2019)
    garden = records.garden(SOUTH.date(2019, 220), weather={"bench": steady()})
    bud = tree_stages(garden)[0]
    assert bud.date == date(2019, 10, 8)  # 100 days from 1 July
    assert bud.degree_days_from_season_start == pytest.approx(1000)


def test_the_leap_day_counts_as_a_day():
    """The hundredth day is 9 April in a leap year and 10 April in others; warmth goes by days."""
    dates = {}
    for season in (2019, 2020):
        garden = one_elm(season=season).garden(day(2020, 250), weather={"bench": steady()})
        first = tree_stages(garden)[0]
        dates[season] = (first.date, first.degree_days_from_season_start)
    assert dates == {
        2019: (date(2019, 4, 10), pytest.approx(1000)), 2020: (date(2020, 4, 9), pytest.approx(1000)),
    }  # fmt: skip


def test_on_the_leap_day_other_seasons_are_read_to_the_day_before_march():
    records = one_elm()
    garden = records.garden(date(2020, 2, 29), weather={"bench": steady()})
    leap = {h.season: h.season % 4 == 0 for h in compare_seasons(garden).warmth}
    for h in compare_seasons(garden).warmth:
        assert h.through == date(h.season, 2, 29 if leap[h.season] else 28)
        assert round(h.degree_days) == (600 if leap[h.season] else 590)


def test_a_species_tells_the_mean_of_its_trees():
    records = one_elm()
    records.tree("elm2")
    records.a_season("elm2", 2020, 104, 134, 160)
    garden = records.garden(day(2020, 200), weather={"bench": steady()})
    bud = next(s for s in compare_seasons(garden).stages if s.stage == "budbreak")
    assert (bud.trees, bud.counted_from) == (
        2,
        "start",
    ) and bud.degree_days_from_season_start == pytest.approx(1020)
