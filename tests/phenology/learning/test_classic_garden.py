"""The classic estimators on a garden's own waits: lengths and mean temperatures as the bench had them."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from phenology.learning.classic import CLASSIC, ClassicRow, classic_rows, warmth_and_length
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition
from phenology.weather.series import DailyWeather
from tests.phenology.gardens import ELM, Records, weather

END = date(2020, 12, 31)
GROWS = Transition("budbreak", "extended")


def steady(by_season: dict[int, float]) -> DailyWeather:
    """Weather that keeps one mean through each season."""
    usual = weather()
    years = (np.datetime64(usual.first_day) + np.arange(len(usual.tmin))).astype("datetime64[Y]").astype(int)
    mean = np.array([by_season.get(int(y) + 1970, 10.0) for y in years])
    return DailyWeather(usual.first_day, mean - 4, mean + 4, "station")


def nursery(*seasons: tuple[int, float]) -> Records:
    """An elm that takes 300 degree-days above 6 degC to extend, in seasons of one temperature each."""
    records = Records()
    records.tree("elm")
    for season, mean in seasons:
        records.a_season("elm", season, 100, 100 + round(300 / (mean - 6)), 190)
    return records


def rows_of(records: Records, series: DailyWeather, step: Transition = GROWS) -> list[ClassicRow]:
    fit = GardenFit(records.garden(END, weather={"bench": series}))
    return [row for row in classic_rows(fit, ELM) if row.transition == step]


def test_a_wait_has_the_mean_temperature_of_its_own_days():
    fit = GardenFit(nursery((2018, 16.0)).garden(END, weather={"bench": steady({2018: 16.0})}))
    [wait] = fit.waits(GROWS)
    assert warmth_and_length(fit.garden, wait) == pytest.approx((16.0, 30.0))


def test_all_four_find_the_base_that_made_the_waits():
    seasons = [(2016, 12.0), (2017, 14.0), (2018, 16.0), (2019, 18.0), (2020, 21.0)]
    rows = rows_of(nursery(*seasons), steady(dict(seasons)))
    assert {(row.waits, row.seasons, row.why_not) for row in rows} == {(5, 5, "")}
    assert [row.method for row in rows] == list(CLASSIC)
    for row in rows:
        assert row.result.base == pytest.approx(6.0, abs=0.3)
        assert row.result.requirement == pytest.approx(300, abs=12)
    low, high = rows[-1].result.base_interval
    assert low < 6.0 < high and high - low < 2


def test_too_few_or_too_alike_seasons_are_said_not_guessed():
    few = rows_of(nursery((2019, 14.0), (2020, 16.0)), steady({2019: 14.0, 2020: 16.0}))
    assert len(few) == 4 and all(row.result is None and "at least 3 seasons" in row.why_not for row in few)
    alike = [(s, 14.0) for s in (2017, 2018, 2019, 2020)]
    same = rows_of(nursery(*alike), steady(dict(alike)))
    assert len(same) == 4 and all(row.result is None and "too alike" in row.why_not for row in same)


def test_unfinished_waits_are_left_out_and_steps_without_any_are_left_out():
    records = nursery((2018, 14.0), (2019, 16.0))
    flush = records.flush("elm", 2020)
    records.look(flush, 95, "dormant")
    records.look(flush, 104, "extending")
    series = steady({2018: 14.0, 2019: 16.0, 2020: 15.0})
    assert {row.waits for row in rows_of(records, series)} == {2}
    assert rows_of(records, series, Transition("work", "budbreak")) == []
