"""Bud break of real trees from the season's start: heat that counts for more as days lengthen earns its keep.

Data as in `test_harvard_forest_hindcast`. One season is left out at a time; its weather is known, as is the
last look that showed closed buds on the first visit (late March). The latitude is that of the forest's
station, 42.53 degrees north (HF001).
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from phenology.forecasting.arrival import Arrival
from phenology.forecasting.propagation import Chain, Step, propagate
from phenology.heat.clocks import clock_weights
from phenology.judging.hindcast import Question, hindcast
from phenology.judging.rivals import usual_date
from phenology.judging.verification import score_dates
from phenology.learning.requirement import RequirementModel
from phenology.learning.transitions import Transition
from phenology.learning.waits import Wait
from phenology.model.season import NEVER, SeasonCalendar
from phenology.weather.season_weather import SeasonWeather
from tests.reference.test_harvard_forest_hindcast import forest

pytestmark = pytest.mark.slow

LATITUDE = 42.53
BUDBREAK = Transition("start", "budbreak")
WITHOUT_LIGHT = clock_weights(heat=0.85, days=0.15, date=0.0)


@cache
def waits() -> tuple[tuple[Wait, int], ...]:
    """Every tree-season's wait from the first day of the year, and the day of its first look."""
    sights, weather = forest()
    question = Question("dormant", "budbreak", known_weather=True)
    rows = hindcast(
        sights, weather, question, calendar=SeasonCalendar(), prior_of=lambda name: (20.0, 0.4)
    ).rows
    return tuple((r.wait._replace(anchor=(0.0, 0.0)), r.issued.timetuple().tm_yday) for r in rows)


@cache
def crps(weights: tuple[float, ...] | None) -> float:
    """Mean CRPS for some prior weights of the clocks; for None, of the usual date. [d]"""
    record = SeasonWeather.cut(forest()[1], SeasonCalendar(), LATITUDE)
    scores = []
    for season in sorted({w.season for w, _ in waits()}):
        train = [w for w, _ in waits() if w.season != season]
        mine = [(w, first) for w, first in waits() if w.season == season]
        quantiles = []
        if weights is not None:
            normals = record.without(season).normals
            thermal_time = record.thermal_time({w.season for w, _ in waits()}, normals=normals)
            model = RequirementModel(lambda name: (30.0, 0.6), clock_weights=weights)
            requirement = model.fit(train, {("", s): h for s, h in thermal_time.items()})
        for wait, first in mine:
            if weights is None:
                quantiles.append(tuple(usual_date(train, wait)))
                continue
            prediction = requirement.predict(wait.species, wait.tree, season, False, 0.0)
            step = Step(BUDBREAK, lambda began, p=prediction: p, (float(first), NEVER))
            [[curves]] = propagate([Chain((0.0, 0.0), [step])], thermal_time[season].thermal_time)
            quantiles.append(Arrival.over(curves).quantiles())
        ends = np.array([w.target for w, _ in mine])
        scores.append(score_dates(np.array(quantiles), ends[:, 0], ends[:, 1]).crps)
    return float(np.concatenate(scores).mean())


def test_lengthening_days_bring_bud_break_closer_than_heat_alone():
    with_light, heat, usual = crps(BUDBREAK.clock_weights), crps(WITHOUT_LIGHT), crps(None)
    assert with_light < heat - 0.5
    assert heat < usual  # with the weather known; issued in March, heat alone was worse than the usual date
    assert usual == np.clip(usual, 3.9, 4.2)
