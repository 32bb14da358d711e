"""The plain forecasters every grower already has: the usual date, and the usual days after a stage.

A forecast from weather has to beat them to be worth showing.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from phenology.forecasting.arrival import LEVELS
from phenology.learning.waits import Wait
from phenology.model.arrays import Array

LEAST_SD = 2.0  # a spread from few seasons is never believed below this [days]


def usual_date(training: Sequence[Wait], wait: Wait) -> Array:
    """Quantiles (at `LEVELS`) of the date on which the species usually gets there. [day of season]

    Seasons count alike whatever the number of trees; censored waits are left out. NaN without any.
    """
    dates, seasons = _middles(training, wait)
    return _normal(*_season_mean(dates, seasons)) if len(dates) else np.full(len(LEVELS), np.nan)


def usual_days_regressed(training: Sequence[Wait], wait: Wait) -> Array:
    """Quantiles of the date expected from the wait's own beginning, by least squares over past waits.

    With under three seasons the slope is taken as nought: the usual number of days is added.
    """
    dates, seasons = _middles(training, wait)
    if not len(dates):
        return np.full(len(LEVELS), np.nan)
    began = np.array([w.anchor_middle for w in _alike(training, wait)])
    days = dates - began
    slope = 0.0
    if len(np.unique(seasons)) >= 3 and np.ptp(began) > 0:
        slope = float(np.polyfit(began - began.mean(), days, 1)[0])
    expected, spread = _season_mean(days - slope * (began - began.mean()), seasons)
    return _normal(wait.anchor_middle + expected + slope * (wait.anchor_middle - began.mean()), spread)


def _alike(training: Sequence[Wait], wait: Wait) -> list[Wait]:
    return [
        w
        for w in training
        if w.species == wait.species and w.later == wait.later and np.isfinite(w.target).all()
    ]


def _middles(training: Sequence[Wait], wait: Wait) -> tuple[Array, NDArray[np.intp]]:
    alike = _alike(training, wait)
    return np.array([np.mean(w.target) for w in alike]), np.array([w.season for w in alike], dtype=np.intp)


def _season_mean(values: Array, seasons: NDArray[np.intp]) -> tuple[float, float]:
    """Mean over season means, and the spread of a single tree in a new season."""
    means = np.array([values[seasons == s].mean() for s in np.unique(seasons)])
    mean = float(means.mean())
    spread = float(np.sqrt(np.mean((values - mean) ** 2) * (1 + 1 / len(means))))
    return mean, max(spread, LEAST_SD) if len(means) > 1 else 3 * LEAST_SD


def _normal(mean: float, sd: float) -> Array:
    from scipy.special import ndtri

    return np.asarray(mean + sd * ndtri(np.array(LEVELS)))
