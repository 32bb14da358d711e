"""What weather is usual at a place: a smooth year, its slow trend, and honest filling of gaps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from phenology.model.arrays import Array

YEAR_DAYS = 366
BEYOND_DAYS = 200  # past the season's end that a possible one is followed, where no frost came before (ours)
LEAST_SEASONS_FOR_TREND = 15  # design choice: a shorter record says more about chance than about climate
TREND_PRIOR_SD = 0.03  # how steep a local trend may be expected to be, ours [degC per year]
MEMORY_DAYS = 4.0  # how long a spell of weather lasts, for filling gaps, from memory, unverified


@dataclass(frozen=True, eq=False, repr=False)
class Normals:
    """The usual year of a place."""

    # tmin, tmax: smooth means by day of season, shape (366,) [degC]
    tmin: Array
    tmax: Array
    spread: float  # standard deviation of the daily mean about them [degC]
    trend: float  # warming per season, shrunk toward none; 0 under 15 seasons [degC per year]


def harmonics(day: NDArray[Any], pairs: int = 2) -> Array:
    """Constant, sines and cosines of a year at days `day`; shape (days, 1 + 2 * pairs)."""
    angle = 2 * np.pi * np.asarray(day, dtype=float)[:, None] * np.arange(1, pairs + 1) / 365.25
    return np.concatenate([np.ones((len(angle), 1)), np.cos(angle), np.sin(angle)], axis=1)


def fit_normals(tmin: Array, tmax: Array, seasons: Array) -> Normals:
    """Learn the usual year from past seasons, labelled by their years.

    Daily extremes are by day of season, NaN where unknown or past the season's end; shape (n_seasons, 366).
    [degC]
    """
    basis = harmonics(np.arange(1.0, YEAR_DAYS + 1))
    low, high = _smooth_year(tmin, basis), _smooth_year(tmax, basis)
    anomaly = ((tmin - low) + (tmax - high)) / 2
    known = np.isfinite(anomaly)
    spread = float(np.std(anomaly[known])) if known.any() else 4.0
    return Normals(low, high, spread, _shrunken_trend(anomaly, np.asarray(seasons, dtype=float)))


def _smooth_year(values: Array, basis: Array) -> Array:
    _, day = np.nonzero(np.isfinite(values))
    days_known = len(set(day.tolist()))
    if days_known < 2 * basis.shape[1]:
        return np.full(len(basis), np.nanmean(values) if len(day) else np.nan)
    if days_known < 300:  # part of a year: a full set of waves would swing wildly outside it
        basis = basis[:, [0, 1, 3]]
    # a slight pull to zero on the waves keeps a thin record from swinging where it has no days
    left = basis[day].T @ basis[day] + np.diag([0.0] + [1e-3 * len(day)] * (basis.shape[1] - 1))
    return np.asarray(basis @ np.linalg.solve(left, basis[day].T @ values[np.isfinite(values)]))


def _shrunken_trend(anomaly: Array, seasons: Array) -> float:
    enough = np.isfinite(anomaly).mean(1) > 0.8
    if enough.sum() < LEAST_SEASONS_FOR_TREND:
        return 0.0
    year = seasons[enough] - seasons[enough].mean()
    mean = np.nanmean(anomaly[enough], axis=1)
    slope = float(year @ mean / (year @ year))
    residual = mean - mean.mean() - slope * year
    error = float(residual @ residual / (len(year) - 2) / (year @ year))
    return slope * TREND_PRIOR_SD**2 / (TREND_PRIOR_SD**2 + error)


def fill_gaps(tmin: Array, tmax: Array, normals: Normals) -> tuple[Array, Array, Array]:
    """Fill unknown days from the usual year and the days on either side, and say what that costs.

    One season from its first day comes back without gaps, tmin never above tmax [degC], with what each day
    adds to the variance of a temperature sum [degC^2 d]; all of shape (days,).
    """
    days = len(tmin)
    low, variance_low = _fill_one(tmin, normals.tmin[:days], normals.spread)
    high, variance_high = _fill_one(tmax, normals.tmax[:days], normals.spread)
    middle = (low + high) / 2
    crossed = low > high
    low, high = np.where(crossed, middle, low), np.where(crossed, middle, high)
    # minimum and maximum share their weather, so their errors go together
    return low, high, (np.sqrt(variance_low) + np.sqrt(variance_high)) ** 2 / 4


def _fill_one(values: Array, usual: Array, spread: float) -> tuple[Array, Array]:
    known = np.isfinite(values)
    if known.all():
        return values, np.zeros(len(values))
    if not known.any():
        return usual.copy(), np.full(len(values), spread**2 * 2 * MEMORY_DAYS)
    where = np.arange(len(values))
    anomaly = np.where(known, values - usual, 0.0)
    at = np.flatnonzero(known)
    left = np.searchsorted(at, where, side="right") - 1
    right = np.searchsorted(at, where, side="left")
    before, after = at[np.maximum(left, 0)], at[np.minimum(right, len(at) - 1)]
    far = 100 * MEMORY_DAYS  # no known day on that side
    to_before = np.where(left >= 0, where - before, far)
    to_after = np.where(right < len(at), after - where, far)
    # Best guess and its variance between two known days when a spell fades by a constant factor a day
    # (first-order autoregression); beyond the last known day the far side weighs nothing.
    fade_before, fade_after = np.exp(-to_before / MEMORY_DAYS), np.exp(-to_after / MEMORY_DAYS)
    both = np.where(known, 0.0, fade_before * fade_after) ** 2
    weight_before = fade_before * (1 - fade_after**2) / (1 - both)
    weight_after = fade_after * (1 - fade_before**2) / (1 - both)
    estimate = usual + weight_before * anomaly[before] + weight_after * anomaly[after]
    unsure = 1 - weight_before * fade_before - weight_after * fade_after
    # the errors of one gap go together, so they add up: over a spell at most, over the gap if it is shorter
    gap = to_before + to_after - 1
    together = np.minimum(gap, 2 * MEMORY_DAYS)
    return np.where(known, values, estimate), np.where(known, 0.0, spread**2 * unsure * together)
