"""The warmth of one season, and how many days it is ahead of the mean of others."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from phenology.heat.thermal_time import degree_days
from phenology.model.arrays import Array
from phenology.weather.season_weather import SeasonWeather

BASE_C = 5.0
"""Base of the degree-days shown; a common choice for temperate trees (common practice, no source)."""

FEWEST_USUAL = 3  # seasons without which nothing is called usual (ours)
KNOWN_DAYS = 300  # days without which a past season is not usual (ours)
LEAST_HEAT = 20.0  # before this much usual warmth a lead in days says nothing (ours) [degC d]
LEAST_RATE = 0.25  # nor while a usual day brings less than this share of the warmest time's days (ours)
RATE_DAYS = 7


def cumulative_heat(record: SeasonWeather, season: int) -> Array:
    """Degree-days above `BASE_C` by the end of each day of a season, gaps filled; entry 0 is 0. [degC d]"""
    low, high, _ = record.filled(season)
    return np.concatenate([[0.0], np.cumsum(degree_days(low, high, BASE_C))])


def known_days(record: SeasonWeather, season: int) -> NDArray[np.bool_]:
    """On which days of a season both extremes are known."""
    row = record.row(season)
    return np.asarray(np.isfinite(record.tmin[row]) & np.isfinite(record.tmax[row]))


def days_ahead(heat: Array, others: Sequence[Array]) -> Array:
    """How many days a season's warmth is ahead of the mean of other seasons, day by day.

    Parameters
    ----------
    heat : ndarray, shape (days + 1,)
        A season's degree-days by the end of each day, from 0. [degC d]
    others : sequence of ndarray
        The same of whole other seasons.

    Returns
    -------
    ndarray, shape (days + 1,)
        Days ahead (+) or behind (-), read along the mean season. NaN where that cannot be said: with fewer
        than `FEWEST_USUAL` others; while so little warmth usually gathers, on that day or on the one that it
        is read at, that days mean nothing, as in winter; once it is warmer than a whole usual season.

    Examples
    --------
    Half as warm again as the others from the first day, so 50 days ahead after 100:

    >>> usual = np.arange(366) * 10.0
    >>> float(days_ahead(np.arange(366) * 15.0, [usual] * 3)[100])
    50.0
    """
    ahead = np.full(len(heat), np.nan)
    if len(others) < FEWEST_USUAL:
        return ahead
    usual = np.mean([curve[:366] for curve in others], axis=0)
    day = np.arange(len(heat), dtype=float)
    last = len(usual) - 1
    read = np.interp(heat, usual, np.arange(len(usual)))
    warm = _warm_days(usual)
    at = np.minimum(day.astype(int), last)
    tells = warm[at] & warm[np.rint(read).astype(int)] & (usual[at] >= LEAST_HEAT) & (heat >= LEAST_HEAT)
    return np.where(tells & (heat <= usual[-1]), read - day, np.nan)


def _warm_days(usual: Array) -> NDArray[np.bool_]:
    """Whether around each day warmth usually gathers fast enough for a lead to be told in days."""
    at, last = np.arange(len(usual)), len(usual) - 1
    before, after = np.maximum(at - RATE_DAYS, 0), np.minimum(at + RATE_DAYS, last)
    rate = (usual[after] - usual[before]) / (after - before)
    best = float((usual[2 * RATE_DAYS :] - usual[: -2 * RATE_DAYS]).max()) / (2 * RATE_DAYS)
    return np.asarray(rate >= LEAST_RATE * best)
