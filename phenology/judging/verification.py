"""How good were the forecasts? Dates given as five quantiles, events known only to lie between two looks.

Time is continuous (t = n is the end of day n) and an event lies in (left, right], the true date taken as
uniform over it. Three questions are kept apart:

* *how far off*: ``mae_mid``, ``mae_out``, ``bias``, and ``crps``, which scores the whole distribution;
* *how honest*: ``pit80`` and ``pit50`` are 0.80 and 0.50 for a calibrated forecast of the true day.
  ``cov80`` and ``cov50`` are not: they smear the true day over the looks a second time and so come out
  lower (about 0.72 and 0.43 for a spread of 3.5 days and 6 days between looks), and are for comparison;
* *how sharp*: ``w80``. ``logs`` scores the probability put on what was seen.

The season is the unit of comparison: trees of one season share its weather and are not independent.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from phenology.model.arrays import Array
from phenology.model.errors import InputError

LEVELS: tuple[float, ...] = (0.10, 0.25, 0.50, 0.75, 0.90)
"""Levels of the five quantiles that make a forecast."""

# The quantile levels cut 0..1 into five stretches around them; each level stands for half of what lies
# between its neighbours (the end ones reach to 0 and 1), so that 2 Σ w·pinball approximates the CRPS.
_WEIGHTS = np.array([0.175, 0.20, 0.25, 0.20, 0.175])
_Z = np.array([-1.2815516, -0.6744898, 0.0, 0.6744898, 1.2815516])  # the levels on the normal scale
_SMALLEST_SPACING = 1e-3  # days; quantiles that coincide are a steep step, not a division by zero
_FLOOR = 1e-4  # least probability credited to what was seen, so one miss does not decide everything


@dataclass(frozen=True)
class DateScores:
    """Scores of each forecast, one entry a tree-season; see the module's first lines."""

    mae_mid: Array  # distance of the median from the middle of the interval. [d]
    mae_out: Array  # distance of the median from the interval, 0 inside. [d]
    bias: Array  # median less middle: positive is late. [d]
    crps: Array  # expected score of the five quantiles, the true date uniform over the interval. [d]
    cov80: Array  # share of the interval inside the 80 % range
    cov50: Array  # the same of the 50 % range
    pit80: Array  # share of the forecast's own probability over the interval lying within its 80 % range
    pit50: Array  # the same of the 50 % range
    logs: Array  # minus the log of the probability put on the interval
    w80: Array  # width of the 80 % range. [d]

    def means(self) -> dict[str, float]:
        """Mean of each measure over the forecasts that have one, by name; NaN when there are none."""
        return {field.name: _mean(getattr(self, field.name)) for field in fields(self)}


def score_dates(quantiles: ArrayLike, left: ArrayLike, right: ArrayLike) -> DateScores:
    """Score date forecasts against events that lie between two looks.

    Parameters
    ----------
    quantiles : array_like, shape (n, 5)
        The forecasts' 10, 25, 50, 75 and 90 % quantiles, in order. [day of season]
    left, right : array_like, shape (n,)
        Last look before the event and first look after: the event lies in (left, right]. [day of season]

    Returns
    -------
    DateScores
        Entries are NaN where an input is NaN.

    Raises
    ------
    InputError
        If shapes do not fit, an interval has no length or no end, or quantiles are out of order; the
        first such entry is named.

    Notes
    -----
    The levels' weights in the CRPS are 2 x (.175, .2, .25, .2, .175). The forecast's distribution between
    and beyond its quantiles is drawn in straight lines on the normal scale (:func:`forecast_cdf`).

    Examples
    --------
    >>> scores = score_dates([[118.0, 121.0, 124.0, 127.0, 130.0]], [120.0], [126.0])
    >>> float(scores.mae_mid[0]), float(scores.mae_out[0]), float(scores.w80[0])
    (1.0, 0.0, 12.0)
    >>> round(float(scores.crps[0]), 3)
    1.47
    """
    q, a, b = _checked_forecasts(quantiles, left, right)
    middle, median = (a + b) / 2, q[:, 2]
    below, above = forecast_cdf(q, a), forecast_cdf(q, b)
    loss = [w * _expected_pinball(q[:, k], LEVELS[k], a, b) for k, w in enumerate(_WEIGHTS)]
    return DateScores(
        mae_mid=np.abs(median - middle),
        mae_out=np.maximum(np.maximum(a - median, median - b), 0.0),
        bias=median - middle,
        crps=np.asarray(2.0 * np.sum(loss, axis=0)),
        cov80=_overlap(a, b, q[:, 0], q[:, 4]) / (b - a),
        cov50=_overlap(a, b, q[:, 1], q[:, 3]) / (b - a),
        pit80=_share_within(below, above, 0.10, 0.90),
        pit50=_share_within(below, above, 0.25, 0.75),
        logs=-np.log(np.maximum(above - below, _FLOOR)),
        w80=q[:, 4] - q[:, 0],
    )


def forecast_cdf(quantiles: ArrayLike, t: ArrayLike) -> Array:
    """Probability that the event has come by ``t``, drawn through five quantiles.

    Parameters
    ----------
    quantiles : array_like, shape (n, 5)
        Quantiles at :data:`LEVELS`. [day of season]
    t : array_like, shape (n,)
        One time for each forecast. [day of season]

    Returns
    -------
    ndarray, shape (n,)
        Between 0 and 1: straight lines on the normal scale, the outer two continued beyond the ends.

    Examples
    --------
    >>> forecast_cdf([[118.0, 121.0, 124.0, 127.0, 130.0]] * 3, [118.0, 124.0, 127.0]).round(3)
    array([0.1 , 0.5 , 0.75])
    """
    from scipy.special import ndtr

    q = np.asarray(quantiles, dtype=np.float64) + np.arange(5) * 1e-6
    at = np.asarray(t, dtype=np.float64)
    upper = np.clip((q < at[:, None]).sum(axis=1), 1, 4)
    row = np.arange(len(q))
    known, step = q[row, upper - 1], q[row, upper] - q[row, upper - 1]
    slope = (_Z[upper] - _Z[upper - 1]) / np.maximum(step, _SMALLEST_SPACING)
    return np.asarray(ndtr(np.clip(_Z[upper - 1] + slope * (at - known), -8.0, 8.0)))


@dataclass(frozen=True)
class PairedDifference:
    """One forecaster less another, season by season; negative means the first scores lower (better)."""

    mean: float  # mean over seasons of the difference of season means
    standard_error: float  # its standard error from the spread between seasons; NaN with one season
    seasons: tuple[int, ...]  # the seasons, in order
    by_season: Array  # difference of the season means; shape (n_seasons,)


def paired_by_season(score: ArrayLike, rival: ArrayLike, season: Sequence[int] | Array) -> PairedDifference:
    """Compare two forecasters on the same cases, the season being the unit.

    Parameters
    ----------
    score, rival : array_like, shape (n,)
        Scores of the same tree-seasons; pairs with a NaN on either side are left out. [any unit]
    season : sequence of int, shape (n,)
        Season of each case.

    Returns
    -------
    PairedDifference
        ``score`` less ``rival``. Every season weighs the same, however many trees it holds.

    Raises
    ------
    InputError
        If the lengths differ or no pair is complete.

    Examples
    --------
    >>> difference = paired_by_season([3.0, 5.0, 4.0, 2.0], [4.0, 6.0, 4.0, 5.0], [2020, 2020, 2021, 2022])
    >>> difference.by_season, round(difference.mean, 3), round(difference.standard_error, 3)
    (array([-1.,  0., -3.]), -1.333, 0.882)
    """
    ours, theirs = np.asarray(score, dtype=np.float64), np.asarray(rival, dtype=np.float64)
    label = np.asarray(season)
    if not (ours.ndim == 1 and ours.shape == theirs.shape == label.shape):
        raise InputError(
            f"paired scores need equal lengths, got {ours.shape}, {theirs.shape} and {label.shape}"
        )
    difference = ours - theirs
    whole = np.isfinite(difference)
    if not whole.any():
        raise InputError("there is no case that both forecasters scored")
    seasons, place = np.unique(label[whole], return_inverse=True)
    by_season = np.bincount(place, difference[whole]) / np.bincount(place)
    n = len(seasons)
    error = float(by_season.std(ddof=1) / np.sqrt(n)) if n > 1 else float("nan")
    return PairedDifference(float(by_season.mean()), error, tuple(int(s) for s in seasons), by_season)


def skill(score: float, reference: float) -> float:
    """Share of a rival's mean score saved: 1 perfect, 0 no better, negative worse; NaN where it scores 0."""
    return 1.0 - score / reference if reference else float("nan")


def _checked_forecasts(quantiles: ArrayLike, left: ArrayLike, right: ArrayLike) -> tuple[Array, Array, Array]:
    q, a, b = (np.asarray(v, dtype=np.float64) for v in (quantiles, left, right))
    if q.ndim != 2 or q.shape[1] != 5 or not a.shape == b.shape == (len(q),):
        raise InputError(
            f"scoring needs quantiles of shape (n, 5) and n intervals, got {q.shape}, {a.shape}, {b.shape}"
        )
    for bad, words in (
        (np.isinf(a) | np.isinf(b), "the interval has no end: an event seen from one side is not scored"),
        (a >= b, "the interval ends before it starts, or has no length"),
        ((np.diff(q, axis=1) < -1e-9).any(axis=1), "the quantiles are out of order"),
    ):
        if bad.any():
            i = int(np.argmax(bad))
            raise InputError(f"forecast {i} (counting from 0), ({a[i]:g}, {b[i]:g}]: {words}")
    return q, a, b


def _expected_pinball(q: Array, level: float, a: Array, b: Array) -> Array:
    """Mean quantile loss of ``q`` when the event is uniform over (a, b)."""
    # Split the interval at q: the part before it costs 1 - level a day, the part after it level a day.
    cut = np.clip(q, a, b)
    early = (cut - a) * (q - (a + cut) / 2)
    late = (b - cut) * ((cut + b) / 2 - q)
    return np.asarray(((1.0 - level) * early + level * late) / (b - a))


def _overlap(a: Array, b: Array, low: Array | float, high: Array | float) -> Array:
    return np.asarray(np.maximum(np.minimum(b, high) - np.maximum(a, low), 0.0))


def _share_within(below: Array, above: Array, low: float, high: float) -> Array:
    """Part of the stretch from F(left) to F(right) that lies between two levels."""
    length = above - below
    centre = (below + above) / 2
    inside = np.where(np.isnan(length), np.nan, ((centre > low) & (centre < high)).astype(np.float64))
    # All but no probability on the interval: the stretch is a point, inside or not.
    share = _overlap(below, above, low, high) / np.maximum(length, 1e-12)
    return np.asarray(np.where(length > 1e-9, share, inside))


def _mean(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if len(known) else float("nan")
