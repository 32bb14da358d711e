"""Proper scores of a forecast distribution against one number: smaller is better, in the number's unit."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from phenology.model.arrays import Array
from phenology.model.errors import InputError

_ROOT_PI = float(np.sqrt(np.pi))
_ROOT_2PI = float(np.sqrt(2.0 * np.pi))


def pinball(observed: ArrayLike, quantile: ArrayLike, level: ArrayLike) -> Array:
    """Quantile loss: ``level`` for each day the event comes after the quantile, 1 - level for each before.

    Parameters
    ----------
    observed, quantile : array_like
        What came, and the forecast's quantile; any shapes that broadcast. [d]
    level : array_like
        The quantile's level, between 0 and 1.

    Returns
    -------
    ndarray
        0 or more; NaN where an input is NaN. [d]

    Examples
    --------
    >>> pinball(5.0, [4.0, 6.0, 5.0], 0.9).round(3)
    array([0.9, 0.1, 0. ])
    """
    late = np.asarray(observed, dtype=np.float64) - np.asarray(quantile, dtype=np.float64)
    tau = _share(level, "level")
    return np.asarray(np.maximum(tau * late, (tau - 1.0) * late) + 0.0)  # no -0.0


def crps_normal(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Array:
    """Continuous ranked probability score of a normal forecast, in closed form.

    Parameters
    ----------
    observed, mean, sd : array_like
        What came, and the forecast's mean and standard deviation (above 0); they broadcast. [d]

    Returns
    -------
    ndarray
        0 or more; NaN where an input is NaN. [d]

    Raises
    ------
    InputError
        If an ``sd`` is not above 0.

    References
    ----------
    .. [1] T. Gneiting and A. E. Raftery, "Strictly proper scoring rules, prediction, and estimation,"
       JASA, vol. 102, pp. 359-378, 2007 (from memory; formula read as quoted from Gneiting et al. 2005).

    Examples
    --------
    >>> crps_normal([0.0, 120.0], [0.0, 118.0], [1.0, 4.0]).round(6)
    array([0.233695, 1.325614])
    """
    from scipy.special import ndtr

    spread = np.asarray(sd, dtype=np.float64)
    z = _standardised(observed, mean, sd)
    density = np.exp(-z * z / 2.0) / _ROOT_2PI
    return np.asarray(spread * (z * (2.0 * ndtr(z) - 1.0) + 2.0 * density - 1.0 / _ROOT_PI))


def crps_lognormal(observed: ArrayLike, log_mean: ArrayLike, log_sd: ArrayLike) -> Array:
    """Continuous ranked probability score of a lognormal forecast, in closed form.

    Parameters
    ----------
    observed : array_like
        What came, above 0. [d]
    log_mean, log_sd : array_like
        Mean and standard deviation (above 0) of the forecast's logarithm.

    Returns
    -------
    ndarray
        0 or more; NaN where an input is NaN. [d]

    Raises
    ------
    InputError
        If an observation or a ``log_sd`` is not above 0.

    Notes
    -----
    ``y (2Φ(z) - 1) - 2 m (Φ(z - σ) + Φ(σ/√2) - 1)`` with z the standardised log of y and m the forecast's
    mean; from memory, checked against quadrature and a scoring library.

    Examples
    --------
    >>> float(crps_lognormal(30.0, np.log(30.0), 0.3).round(6))
    2.128464
    """
    from scipy.special import ndtr

    y, spread = np.asarray(observed, dtype=np.float64), np.asarray(log_sd, dtype=np.float64)
    if (y <= 0).any() or (spread <= 0).any():
        raise InputError("a lognormal forecast needs observations and a log spread above 0")
    centre = np.asarray(log_mean, dtype=np.float64)
    z = (np.log(y) - centre) / spread
    mean = np.exp(centre + spread * spread / 2.0)
    tail = ndtr(z - spread) + ndtr(spread / np.sqrt(2.0)) - 1.0
    return np.asarray(y * (2.0 * ndtr(z) - 1.0) - 2.0 * mean * tail)


def pit_normal(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Array:
    """Where in a normal forecast the event fell, F(y): uniform over 0..1 if the forecasts are calibrated.

    Examples
    --------
    >>> float(pit_normal(120.0, 118.0, 4.0).round(6))
    0.691462
    """
    from scipy.special import ndtr

    return np.asarray(ndtr(_standardised(observed, mean, sd)))


def log_score_normal(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Array:
    """Minus the log density of a normal forecast at the event; the density is per day.

    Examples
    --------
    >>> float(log_score_normal(120.0, 118.0, 4.0).round(6))
    2.430233
    """
    z = _standardised(observed, mean, sd)
    return np.asarray(z * z / 2.0 + np.log(np.asarray(sd, dtype=np.float64) * _ROOT_2PI))


def crps_ensemble(observed: ArrayLike, members: ArrayLike, *, fair: bool = False) -> Array:
    """Continuous ranked probability score of a set of equally likely values.

    Parameters
    ----------
    observed : array_like, shape (...)
        What came. [d]
    members : array_like, shape (..., n_members)
        The ensemble, members on the last axis. [d]
    fair : bool, optional
        False scores the members as the whole forecast (energy form); True estimates the score of the
        distribution they were drawn from, and needs at least two.

    Returns
    -------
    ndarray, shape (...)
        NaN where an input is NaN; the fair form can be negative. [d]

    Raises
    ------
    InputError
        If there are too few members.

    Notes
    -----
    ``mean|x - y| - Σ|xi - xj| / (2 n²)``, with ``n (n - 1)`` for ``n²`` in the fair form. The double sum
    is taken from the sorted members, so large ensembles are cheap.

    Examples
    --------
    >>> members = [112.0, 115.0, 118.0, 119.0, 123.0]
    >>> round(float(crps_ensemble(120.0, members)), 6)
    1.72
    >>> round(float(crps_ensemble(120.0, members, fair=True)), 6)
    1.2
    """
    x = np.sort(np.asarray(members, dtype=np.float64), axis=-1)
    n = x.shape[-1] if x.ndim else 0
    if n < (2 if fair else 1):
        raise InputError(f"an ensemble of {n} members cannot be scored{' fairly' if fair else ''}")
    distance = np.abs(x - np.asarray(observed, dtype=np.float64)[..., None]).mean(axis=-1)
    # Σij |xi - xj| = 2 Σk (2k - n - 1) x(k), k from 1
    spread = 2.0 * (x * (2.0 * np.arange(1, n + 1) - n - 1.0)).sum(axis=-1)
    return np.asarray(distance - spread / (2.0 * n * (n - 1 if fair else n)))


def interval_score(observed: ArrayLike, lower: ArrayLike, upper: ArrayLike, alpha: ArrayLike) -> Array:
    """Score of a central interval of coverage 1 - alpha: its width, and 2/alpha for each unit missed by.

    Parameters
    ----------
    observed, lower, upper : array_like
        What came, and the interval's ends; they broadcast. [d]
    alpha : array_like
        The share left outside, between 0 and 1.

    Returns
    -------
    ndarray
        0 or more; NaN where an input is NaN. [d]

    Raises
    ------
    InputError
        If an interval ends before it starts.

    References
    ----------
    Gneiting & Raftery 2007 (see :func:`crps_normal`; from memory, checked against a scoring library).

    Examples
    --------
    >>> interval_score([5.0, 1.0, 9.5], 2.0, 8.0, 0.2)
    array([ 6., 16., 21.])
    """
    y, low, high = (np.asarray(v, dtype=np.float64) for v in (observed, lower, upper))
    if (low > high).any():
        raise InputError("an interval must not end before it starts")
    share = _share(alpha, "alpha")
    missed = np.maximum(low - y, 0.0) + np.maximum(y - high, 0.0)
    return np.asarray(high - low + 2.0 / share * missed)


def skill(score: ArrayLike, reference: ArrayLike) -> Array:
    """Share of the reference's mean score saved: 1 perfect, 0 no better, negative worse.

    Parameters
    ----------
    score, reference : array_like
        Mean scores of the forecast and of its rival on the same cases.

    Returns
    -------
    ndarray
        Dimensionless; NaN where the reference scores 0, since nothing can be saved there.

    Examples
    --------
    >>> float(skill(1.5, 3.0))
    0.5
    """
    ours, theirs = np.asarray(score, dtype=np.float64), np.asarray(reference, dtype=np.float64)
    return np.asarray(1.0 - ours / np.where(theirs == 0.0, np.nan, theirs))


def _standardised(observed: ArrayLike, mean: ArrayLike, sd: ArrayLike) -> Array:
    spread = np.asarray(sd, dtype=np.float64)
    if (spread <= 0).any():
        raise InputError("a normal forecast needs a standard deviation above 0")
    return np.asarray((np.asarray(observed, dtype=np.float64) - np.asarray(mean, dtype=np.float64)) / spread)


def _share(value: ArrayLike, name: str) -> Array:
    share = np.asarray(value, dtype=np.float64)
    if not ((share > 0) & (share < 1)).all():
        raise InputError(f"{name} must lie between 0 and 1, got {share.tolist()}")
    return share
