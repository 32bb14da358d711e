"""A warmer decade must not come out biased: learned in the nineties, forecast for the years after."""

from __future__ import annotations

from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest

from data_sources.demo.climate import synthetic_weather
from phenology.heat.clocks import Clock
from phenology.judging.hindcast import DatedSight, Question, hindcast, observed, quantile_table
from phenology.model.season import SeasonCalendar
from phenology.weather.season_weather import SeasonWeather

CALENDAR = SeasonCalendar()
WARMING = 1.2  # degC a decade, strong on purpose
TRUE = Clock("true", "sine", 6.0)
NEED = {"start": 17.0, "given": 24.0}  # days at 18 degC to bud break, and on to full leaves


@cache
def decade(known_weather: bool, seed: int):
    """Trees that follow heat alone, looked at every five days for 23 warming seasons."""
    weather = synthetic_weather(
        date(1975, 1, 1), date(2012, 12, 31), 46.0, warming_per_decade=WARMING, seed=seed
    )
    record = SeasonWeather.cut(weather, CALENDAR)
    rng = np.random.default_rng(seed)
    sights = []
    for season in range(1990, 2013):
        sums = record.thermal_time([season], (TRUE,))[season].thermal_time.sums[0]
        of_season = np.exp(0.05 * rng.normal())
        for tree in "abc":
            factor = of_season * np.exp(0.05 * rng.normal())
            bud = np.interp(NEED["start"] * factor, sums, np.arange(len(sums)))
            leaf = np.interp((NEED["start"] + NEED["given"]) * factor, sums, np.arange(len(sums)))
            for n in range(int(bud) - 20, int(leaf) + 10, 5):
                stage = "extended" if n >= leaf else "budbreak" if n >= bud else "dormant"
                day = CALENDAR.start(season) + timedelta(days=n - 1)
                sights.append(DatedSight(tree, "A", 1, stage, day, day))
    question = Question("budbreak", "extended", known_weather, (1990, 2000), (2001, 2012))
    rows = hindcast(sights, weather, question, calendar=CALENDAR, prior_of=lambda name: (20.0, 0.4)).rows
    middle = observed(rows).mean(1)
    seasons = np.array([row.wait.season for row in rows])
    late = quantile_table(rows)[:, 2] - middle
    usual = np.array([row.usual[2] for row in rows]) - middle
    return [np.array([v[seasons == s].mean() for s in np.unique(seasons)]) for v in (late, usual)]


@pytest.mark.parametrize("known_weather", [True, False], ids=["weather known", "issued at bud break"])
def test_a_warmer_decade_is_not_forecast_late(known_weather):
    late, usual = (np.concatenate(v) for v in zip(*(decade(known_weather, s) for s in (1, 2)), strict=True))
    error = late.std(ddof=1) / np.sqrt(len(late))
    assert usual.mean() > 3  # the calendar of the nineties does come out late
    assert abs(late.mean()) < max(1.5, 2 * error)
    assert abs(late.mean()) < 0.2 * usual.mean()
