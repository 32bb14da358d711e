"""The curve of one wait against a normal curve a draw, in double precision and over the whole season."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import ndtr

from phenology.forecasting.arrival import Arrival
from phenology.forecasting.wait_curves import Waiting, Weather, wait_curves
from phenology.heat.clocks import CLOCKS, accumulate
from phenology.learning.prediction import Prediction
from tests.phenology.gardens import weather

TRACES, DAYS = 7, 365
DATE = next(c for c, clock in enumerate(CLOCKS) if clock.from_usual)


@pytest.fixture(scope="module")
def thermal_time():
    rows = [slice(365 * k, 365 * k + DAYS) for k in range(TRACES)]
    low, high = (np.array([values[r] for r in rows]) for values in (weather().tmin, weather().tmax))
    return accumulate(low, high)


def prediction(clocks, days, log_sd, usual=100.0):
    n = len(clocks)
    rng = np.random.default_rng(5)
    weight = rng.dirichlet(np.ones(n))
    mean = np.log(days) + rng.normal(0, 0.1, n)
    return Prediction(weight, np.array(clocks), mean, log_sd**2 * rng.uniform(0.5, 1.5, n), usual)


def plainly(told, begun, share, thermal_time, gap):
    """P(wait ended by day n), every draw, beginning and trace on its own."""
    out, at = np.zeros((TRACES, DAYS + 1)), np.arange(DAYS + 1)
    for w, c, mean, variance in zip(told.weight, told.clock, told.mean, told.variance, strict=True):
        for t in range(TRACES):
            line = thermal_time.sums[t, c]
            for time, part in zip(begun[:, t], share, strict=True):
                if time >= DAYS:
                    continue
                began = np.interp(time, at, line)
                read = np.maximum(line - (told.usual if CLOCKS[c].from_usual else began), 1e-20)
                filled = np.maximum(gap - np.interp(time, at, gap), 0)
                sd = np.sqrt(variance + filled * CLOCKS[c].per_degree ** 2 / np.maximum(read, 1) ** 2)
                ended = ndtr((np.log(read) - mean) / sd)
                if CLOCKS[c].from_usual:
                    over = ndtr((np.log(max(time - told.usual, 1e-20)) - mean) / np.sqrt(variance))
                    again = ndtr((np.log(np.maximum(at - time, 1e-20)) - mean) / sd)
                    ended = (np.maximum(ended - over, 0) + over * again) * (at > time)
                out[t] += w * part * np.where(at > time, ended, 0)
    return out


@pytest.mark.parametrize("days, log_sd", [(25, 0.08), (40, 0.3), (12, 0.6)])
@pytest.mark.parametrize("begun", [(0.0,), (95.3,), (88.0, 96.5, 130.25), (150.0, 400.0)])
@pytest.mark.parametrize("filled", [0.0, 40.0])
def test_the_curves_are_those_of_a_normal_curve_a_draw(thermal_time, days, log_sd, begun, filled):
    told = prediction([0, 2, 2, 6, 11, DATE], days, log_sd)
    gap = np.minimum(np.arange(DAYS + 1.0), 120) / 120 * filled
    begun = np.array(begun)[:, None] + np.linspace(0, 3, TRACES)
    share = np.full(len(begun), 1 / len(begun))
    [got] = wait_curves([Waiting(told, begun, share)], Weather(thermal_time, gap, CLOCKS))
    wanted = plainly(told, begun, share, thermal_time, gap)
    assert_allclose(got, wanted, atol=5e-6 if filled and begun.min() < 120 else 2e-4)
    assert (np.diff(got, axis=1) >= 0).all()
    levels = [q for q in (0.1, 0.25, 0.5, 0.75, 0.9) if q < wanted.mean(0)[-1] - 0.01]
    assert_allclose(Arrival.over(got).quantiles(levels), Arrival.over(wanted).quantiles(levels), atol=0.05)


@pytest.mark.parametrize("filled", [0.0, 40.0])
def test_waits_together_are_as_they_are_alone(thermal_time, filled):
    clocks = ([0, 2, 2, 6, 11, DATE], [3, 4], [2, 2, 2, DATE])
    begun = (np.array([[95.3], [101.0]]), np.array([[30.0]]), np.array([[380.0], [120.0]]))
    waits = [
        Waiting(
            prediction(clocks[i % 3], 25 + i, 0.2), b + np.linspace(0, 3, TRACES), np.full(len(b), 1 / len(b))
        )
        for i in range(30)
        for b in begun[i % 3 :]
    ]
    weather = Weather(thermal_time, np.minimum(np.arange(DAYS + 1.0), 120) / 120 * filled, CLOCKS)
    alone = [wait_curves([wait], weather)[0] for wait in waits]
    assert_allclose(np.stack(wait_curves(waits, weather)), np.stack(alone), atol=2e-4)


def test_a_wait_that_never_begins_never_ends(thermal_time):
    told = prediction([0, DATE], 30, 0.2)
    weather = Weather(thermal_time, np.zeros(DAYS + 1), CLOCKS)
    never = Waiting(told, np.full((2, TRACES), 500.0), np.full(2, 0.5))
    assert not wait_curves([never], weather)[0].any()


def test_readings_that_curves_were_made_of_cannot_be_changed(thermal_time):
    assert thermal_time.lines.shape == (len(CLOCKS), TRACES, DAYS + 1)
    with pytest.raises(ValueError, match="read-only"):
        thermal_time.sums[0] = 0
