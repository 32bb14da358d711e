"""Looking back: forecasts of past seasons made again, and days ahead of usual through this one."""

from __future__ import annotations

import itertools
from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from phenology.judging import past_forecasts as judging
from phenology.judging.past_forecasts import held, past_forecasts, typical_error
from phenology.seasons.compare import compare_seasons
from phenology.seasons.season_heat import heat_course
from tests.phenology.gardens import Records
from tests.phenology.judging.test_season_errors import forecast
from tests.reports.demo import DAY, demo_folder, demo_past
from tests.reports.opened import read_garden


@cache
def garden():
    return read_garden(demo_folder(), DAY)[0]


def beech():
    return [one for one in demo_past() if one.species == "Fagus crenata"]


def test_each_is_issued_before_the_look_that_shows_it_and_never_in_the_season_under_way():
    assert len(beech()) > 8
    for one in beech():
        assert one.issued < one.by and one.season < garden().season
        assert one.q10 <= one.q25 <= one.q50 <= one.q75 <= one.q90
        assert 0 <= one.chance <= 1 and 0 <= one.p_not <= 1


def test_ranges_narrow_as_the_event_comes_near():
    def width(low, high):
        return np.mean([one.q90 - one.q10 for one in beech() if low <= one.lead < high])

    assert width(0, 15) < width(30, 80)


def test_seasons_count_alike_whatever_their_number_of_forecasts():
    past = [forecast(2020, 90, q50, 100, half=15.0) for q50 in (104.0, 104.0, 104.0)]
    past += [forecast(2021, 90, 108.0, 100, half=15.0)]
    assert typical_error(past) == pytest.approx((4 + 8) / 2)
    assert held(past) == 1.0
    assert np.isnan(typical_error([])) and np.isnan(held([]))


def test_of_many_trees_of_a_species_a_few_teach_and_are_judged(monkeypatch):
    records = Records()
    for k, season in itertools.product(range(3), (2017, 2018, 2019)):
        name = f"elm {k}" if f"elm {k}" in {t.id for t in records.trees} else records.tree(f"elm {k}")
        records.a_season(name, season, 95 + 3 * k, 130 + 2 * k, 160 + k)
    garden = records.garden(date(2020, 3, 1))
    alone = replace(records, trees=records.trees[:2])
    for kind in ("flushes", "looks"):
        setattr(alone, kind, [r for r in getattr(records, kind) if r.tree_id != "elm 2"])
    monkeypatch.setattr(judging, "MOST_TEACHERS", 2)
    few = past_forecasts(garden, every=30)
    assert {one.tree for one in few} == {"elm 0", "elm 1"}
    assert few == past_forecasts(alone.garden(date(2020, 3, 1)), every=30)


def test_days_ahead_through_the_season_end_where_the_comparison_stands():
    course = heat_course(garden())
    today = next(h for h in compare_seasons(garden()).warmth if h.season == garden().season)
    assert course.ahead[-1] == pytest.approx(today.days_ahead)
    assert course.heat[-1] == pytest.approx(today.degree_days)
    assert np.isnan(course.ahead[0])  # in January a lead in days says nothing
    assert len(course.past) == 30


@pytest.mark.parametrize(
    "month, said",
    [(1, "too cool a time of year"), (6, "days ahead of usual"), (11, "too cool a time of year")],
)
def test_days_ahead_are_told_only_while_warmth_gathers(month, said):
    assert said in heat_course(garden().up_to(date(2025, month, 25))).words


def test_two_past_seasons_make_nothing_usual():
    series = garden().weather[garden().places[0].id]
    short = {garden().places[0].id: series.between(date(2024, 1, 1), series.last_day)}
    course = heat_course(replace(garden(), weather=short))
    assert course.lead is None and "too few past seasons" in course.words
