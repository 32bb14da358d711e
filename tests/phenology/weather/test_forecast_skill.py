"""How far a forecast is trusted: by simulation of weather and forecasts of known skill."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from phenology.model.errors import InputError
from phenology.weather.outlook import DEFAULT_SD, ForecastSkill, hand_over, measure_skill
from phenology.weather.series import DailyWeather

FIRST = date(2023, 1, 1)


def past(days: int, sd: list[float], *, bias: float = 0.0, seed: int = 3, source: str = "station"):
    """A forecast every day for as many days ahead as `sd` has entries, with errors of these sizes."""
    random = np.random.default_rng(seed)
    mean = 12 + 4 * random.standard_normal(days + len(sd))
    measured = DailyWeather(FIRST, mean - 5, mean + 5, source)
    issued = np.repeat(np.arange(days), len(sd))
    lead = np.tile(np.arange(len(sd)), days)
    said = mean[issued + lead] + bias + random.standard_normal(len(lead)) * np.array(sd)[lead]
    start = FIRST.toordinal()
    return issued + start, issued + lead + start, said - 5, said + 5, measured


def test_without_past_forecasts_the_default_stands():
    skill = measure_skill([], [], [], [], DailyWeather(FIRST, [1.0], [2.0], "station"))
    np.testing.assert_allclose(skill.sd, DEFAULT_SD)
    assert (np.diff(skill.sd) >= 0).all() and skill.sd_at(40) == DEFAULT_SD[-1]


def test_few_forecasts_hardly_move_it_and_many_decide():
    true = [0.6, 0.7, 0.8, 1.0]
    few, many = measure_skill(*past(6, true)), measure_skill(*past(1000, true))
    assert abs(few.sd[1] - DEFAULT_SD[1]) < 0.15
    np.testing.assert_allclose(many.sd[:4], true, atol=0.12)
    np.testing.assert_allclose(many.sd[4:], DEFAULT_SD[4:])  # nothing was seen that far ahead
    assert many.errors[:4].tolist() == [1000] * 4


def test_a_steady_error_is_bias_not_spread():
    skill = measure_skill(*past(1000, [1.0, 1.0], bias=2.0))
    assert skill.bias[0] == pytest.approx(2.0, abs=0.2)
    assert skill.sd[0] == pytest.approx(1.0, abs=0.15)


def test_it_never_gets_better_further_ahead():
    skill = measure_skill(*past(1000, [3.0, 1.0, 2.0]))
    assert (np.diff(skill.sd) >= -1e-12).all()
    assert skill.sd[0] == pytest.approx(skill.sd[1])


def test_a_model_does_not_judge_its_own_forecasts():
    skill = measure_skill(*past(500, [0.1, 0.1], source="model"))
    assert skill.errors.sum() == 0 and skill.sd[0] == DEFAULT_SD[0]


def test_the_forecast_decides_first_and_past_years_in_the_end():
    skill = ForecastSkill.default()
    r = skill.correlation(np.arange(40), 3.5)
    assert r[0] > 0.9 and (np.diff(r) <= 0).all() and r[-1] == 0
    with pytest.raises(InputError, match="spread must be above 0"):
        skill.correlation(1, 0.0)


@pytest.mark.parametrize("r", [0.95, 0.7, 0.3, 0.0])
def test_traces_hold_what_comes_as_often_as_they_say(r: float):
    """Weather and forecast of equal spread that correlate by r: a band of 80 % must hold 80 %."""
    random, spread, n = np.random.default_rng(8), 4.0, 4000
    came = spread * random.standard_normal(n)
    said = r * came + np.sqrt(1 - r**2) * spread * random.standard_normal(n)
    error_sd = float(np.sqrt(2 * spread**2 * (1 - r)))
    skill = ForecastSkill(np.full(n, error_sd), np.zeros(n), np.zeros(n, dtype=np.int64))
    anomalies = spread * random.standard_normal((200, n))
    traces = hand_over(said, np.zeros(n), anomalies, np.arange(n), skill, spread)
    low, high = np.quantile(traces, [0.1, 0.9], axis=0)
    assert np.mean((came >= low) & (came <= high)) == pytest.approx(0.8, abs=0.025)
    assert traces.std(axis=0).mean() == pytest.approx(spread * np.sqrt(1 - r**2), rel=0.03)


def test_days_without_a_forecast_are_the_past_years():
    skill = ForecastSkill.default()
    anomalies = np.array([[1.0, -2.0], [0.5, 3.0]])
    traces = hand_over([np.nan, np.nan], [10.0, 11.0], anomalies, [0, 1], skill, 4.0)
    np.testing.assert_allclose(traces - anomalies, [[10.0, 11.0]] * 2)
