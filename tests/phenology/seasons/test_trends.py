"""Trends: known slopes are found again, chance is called chance, few seasons are not asked."""

from __future__ import annotations

import math
from datetime import date
from functools import cache

import numpy as np
import pytest
from scipy import stats

from phenology.seasons.trends import FEWEST_SEASONS, garden_trends, season_days, trend_of
from reports.views.compare_tables import trend_words
from tests.reports.demo import DAY, demo_folder
from tests.reports.opened import read_garden


def noisy(slope, seasons=25, sd=4.0, seed=1):
    rng = np.random.default_rng(seed)
    return {2000 + k: 150 + slope * k / 10 + rng.normal(0, sd) for k in range(seasons)}


def test_a_straight_line_is_found_exactly():
    trend = trend_of("hardened", "s", {2000 + k: 150 - 0.3 * k for k in range(12)})
    assert trend.days_per_decade == pytest.approx(-3.0) and trend.low95 == pytest.approx(-3.0, abs=1e-9)
    assert trend_words(trend).startswith("3.0 days earlier a decade")


def test_it_agrees_with_another_library():
    days = noisy(-4)
    trend = trend_of("hardened", "s", days)
    theirs = stats.linregress(list(days), list(days.values()))
    half = stats.t.ppf(0.975, len(days) - 2) * theirs.stderr
    assert trend.days_per_decade == pytest.approx(10 * theirs.slope)
    assert (trend.low95, trend.high95) == pytest.approx(
        (10 * (theirs.slope - half), 10 * (theirs.slope + half))
    )


def test_the_interval_holds_the_truth_about_as_often_as_it_says():
    held = [t.low95 <= -2 <= t.high95 for t in (trend_of("x", None, noisy(-2, seed=k)) for k in range(300))]
    assert 0.91 < np.mean(held) < 0.985


def test_chance_is_called_chance():
    assert "perhaps no change" in trend_words(trend_of("x", None, noisy(0, seed=3)))


@pytest.mark.parametrize("seasons", [0, 1, FEWEST_SEASONS - 1])
def test_too_few_seasons_are_said(seasons):
    trend = trend_of("x", None, noisy(-5, seasons))
    assert trend.days_per_decade is None and trend_words(trend) == f"too few seasons to say ({seasons} of 10)"


def test_winters_without_frost_are_left_out():
    days = {**{2000 + k: 300.0 + k for k in range(10)}, 2010: math.inf}
    assert trend_of("first frost", None, days).seasons == 10


def test_trees_that_come_and_go_do_not_make_a_trend():
    """Ten years of one tree, then only one that is always three weeks earlier; they share two seasons."""
    seen = [("late", s, 170.0) for s in range(2000, 2012)] + [("early", s, 149.0) for s in range(2010, 2020)]
    trend = trend_of("hardened", "s", season_days(seen))
    assert trend.days_per_decade == pytest.approx(0, abs=1e-6)


@cache
def demo():
    return {(t.what, t.species): t for t in garden_trends(read_garden(demo_folder(), DAY)[0])}


def test_the_demo_has_thirty_years_of_weather_and_five_seasons_of_looks():
    assert demo()["warmth", None].seasons == 30 and demo()["last frost", None].seasons >= 25
    assert demo()["hardened", "Fagus crenata"].days_per_decade is None
    assert (
        demo()["warmth", None].low95 < demo()["warmth", None].days_per_decade < demo()["warmth", None].high95
    )


def test_in_winter_the_trend_is_of_half_a_seasons_warmth_and_leaves_no_season_out():
    """By late November only the warmer half of the seasons ever gathers what is usual by then."""
    found = {t.what: t for t in garden_trends(read_garden(demo_folder(), date(2025, 11, 28), past=True)[0])}
    assert "warmth" not in found and found["half the warmth"].seasons == 29
    june = {t.what: t for t in garden_trends(read_garden(demo_folder(), date(2025, 6, 14), past=True)[0])}
    assert june["warmth"].seasons == 29  # this season's has not all come, whether early or late
