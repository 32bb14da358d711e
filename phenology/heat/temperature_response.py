"""Smooth temperature responses: how fast growth runs at a temperature, from 0 to 1 at the optimum.

Unlike a degree-day without ceiling these fall to nothing in great heat: a tree at 38 °C stands still.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from phenology.heat.thermal_time import checked_extremes
from phenology.model.arrays import Array
from phenology.model.errors import InputError

# Gauss-Legendre nodes and weights on [-1, 1] for the daily mean. Held against 300 nodes on 400,000 days and
# responses, half of them touching base or ceiling, eight miss by at most 1.3e-5 of the full rate for an
# optimum half to 85 % of the way from base to ceiling, and by at most 3.1e-4 for one from 30 % to 90 %.
# Written out, since loading numpy.polynomial costs every forecast 15 ms; a test holds them against it.
_NODES = (-0.9602898564975362, -0.7966664774136267, -0.525532409916329, -0.18343464249564978,
          0.18343464249564978, 0.525532409916329, 0.7966664774136267, 0.9602898564975362)  # fmt: skip
_WEIGHTS = (0.10122853629037706, 0.22238103445337443, 0.3137066458778869, 0.36268378337836166,
            0.36268378337836166, 0.3137066458778869, 0.22238103445337443, 0.10122853629037706)  # fmt: skip


def wang_engel(temp: ArrayLike, base: ArrayLike, optimum: ArrayLike, ceiling: ArrayLike) -> Array:
    r"""Growth rate relative to the optimum, after Wang & Engel.

    Parameters
    ----------
    temp : array_like
        Temperature; any shape that broadcasts with the cardinal temperatures. [°C]
    base, optimum, ceiling : array_like
        No growth at or below ``base``, fastest at ``optimum``, none at or above ``ceiling``. [°C]

    Returns
    -------
    ndarray
        Relative rate from 0 to 1, dimensionless; NaN where ``temp`` is NaN.

    Raises
    ------
    InputError
        Unless ``base < optimum < ceiling``, all finite.

    Notes
    -----
    ``f = 2p - p²`` with ``p = ((T - base) / (optimum - base))^α`` and
    ``α = ln 2 / ln((ceiling - base) / (optimum - base))``; 0 outside ``base < T < ceiling``. With the
    optimum midway α is 1 and f a parabola.

    References
    ----------
    .. [1] E. Wang and T. Engel, "Simulation of phenological development of wheat crops," Agricultural
       Systems, vol. 58, no. 1, pp. 1-24, 1998 (citation from memory; formula read in a page quoting
       Wang et al. 2017).

    Examples
    --------
    >>> wang_engel([10, 20, 25, 38], base=0, optimum=24, ceiling=35).round(4)
    array([0.3603, 0.919 , 0.9939, 0.    ])
    """
    return _wang_engel(np.asarray(temp, dtype=np.float64), *_checked_cardinals(base, optimum, ceiling))


def daily_response(
    tmin: ArrayLike,
    tmax: ArrayLike,
    base: ArrayLike,
    optimum: ArrayLike,
    ceiling: ArrayLike,
) -> Array:
    """Day-mean of the Wang-Engel response over a sine wave between the day's extremes.

    The response is curved, so the response to the mean temperature is not the mean response: a day of
    10-38 °C with the optimum at 25 earns less than a day held at 24.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., n_days)
        Daily minimum and maximum; any shapes that broadcast. [°C]
    base, optimum, ceiling : array_like
        Cardinal temperatures as in :func:`wang_engel`; they broadcast with the days, so a grid of
        responses is ``base[:, None]`` and so on. [°C]

    Returns
    -------
    ndarray
        Days at the optimum earned in the day, 0 to 1; NaN where an input is NaN. [d per d]

    Raises
    ------
    InputError
        If any ``tmin`` lies above ``tmax`` (the day is named), or unless ``base < optimum < ceiling``.

    Notes
    -----
    Derived here. The wave is cut where it crosses base and ceiling, so the integrand has no kink inside,
    and the part between is integrated over the phase with eight Gauss-Legendre nodes.

    Examples
    --------
    >>> daily_response([5.0, 14.0, 24.0], [15.0, 26.0, 40.0], 0.0, 24.0, 35.0).round(3)
    array([0.374, 0.855, 0.482])
    """
    n, x = checked_extremes(tmin, tmax)
    cold, best, hot, alpha = _checked_cardinals(base, optimum, ceiling)
    mean, half = (n + x) / 2, (x - n) / 2
    divisor = np.maximum(half, 1e-12)
    start = np.arcsin(np.clip((cold - mean) / divisor, -1.0, 1.0))
    stop = np.arcsin(np.clip((hot - mean) / divisor, -1.0, 1.0))
    middle, reach = (start + stop) / 2, (stop - start) / 2
    total = np.zeros(np.broadcast_shapes(mean.shape, middle.shape))
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):  # one pass a node keeps memory small
        t = mean + half * np.sin(middle + reach * node)
        total += weight * _wang_engel(t, cold, best, hot, alpha)
    return np.asarray(total * reach / np.pi)


def _checked_cardinals(
    base: ArrayLike, optimum: ArrayLike, ceiling: ArrayLike
) -> tuple[Array, Array, Array, Array]:
    """Cardinal temperatures as float arrays and the power alpha, refused unless base < optimum < ceiling."""
    cold, best, hot = (np.asarray(t, dtype=np.float64) for t in (base, optimum, ceiling))
    if not (np.all(cold < best) and np.all(best < hot) and np.isfinite(cold + hot).all()):
        raise InputError(
            "a temperature response needs base < optimum < ceiling, "
            f"got {cold.tolist()}, {best.tolist()}, {hot.tolist()} °C"
        )
    return cold, best, hot, np.asarray(np.log(2.0) / np.log((hot - cold) / (best - cold)))


def _wang_engel(t: Array, cold: Array, best: Array, hot: Array, alpha: Array) -> Array:
    # Held between base and ceiling the formula itself gives 0 outside (p = 0 or p = 2).
    p = ((np.clip(t, cold, hot) - cold) / (best - cold)) ** alpha
    return np.asarray(np.maximum(p * (2.0 - p), 0.0))
