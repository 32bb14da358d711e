"""The day as a curve: how far, and for how long, a day's temperature stands above a level.

Every degree-day method is built from two numbers of a day with minimum ``n`` and maximum ``x`` and a
level ``c``: the *area above*, E(c), the day's mean of max(T - c, 0); and the *share above*, P(c), the
part of the day with T > c. The methods differ only in the curve they lay through the two extremes.

============  =====================================================================
shape         the day's temperature
============  =====================================================================
``sine``      a sine wave between the extremes
``triangle``  straight lines between the extremes
``mean``      the daily mean all day long (McMaster & Wilhelm 1997, first reading)
``extremes``  half the day at each extreme (the same, second reading)
============  =====================================================================

The closed forms are derived here; `tests/phenology/heat/test_day_shape.py` integrates the curves numerically.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[np.float64]
Shape = Literal["sine", "triangle", "mean", "extremes"]

# A day flatter than this is flat: far below what a thermometer can tell, and large enough to divide by.
_FLAT = 1e-12


def area_above(tmin: Array, tmax: Array, level: Array, shape: Shape = "sine") -> Array:
    """Day-mean of the temperature in excess of a level, E(c).

    Parameters
    ----------
    tmin, tmax : ndarray
        Daily extremes, ``tmin <= tmax``; any shapes that broadcast. [°C]
    level : ndarray
        The level c. [°C]
    shape : {"sine", "triangle", "mean", "extremes"}
        The curve laid through the extremes.

    Returns
    -------
    ndarray
        0 or more; NaN where an input is NaN. [°C·d per day]

    Notes
    -----
    Derived here. With m the mean and a half the range, the sine gives
    ``((m-c) acos(u) + a sqrt(1-u²)) / π`` with ``u = (c-m)/a`` held to [-1, 1], which also covers the
    days wholly above or below the level; the triangle gives ``(x-c)² / 2(x-n)`` while it crosses.

    Examples
    --------
    >>> round(float(area_above(np.array(4.0), np.array(22.0), np.array(10.0))), 6)
    4.525469
    """
    if shape == "mean":
        return np.maximum((tmin + tmax) / 2 - level, 0.0)
    if shape == "extremes":
        return (np.maximum(tmin - level, 0.0) + np.maximum(tmax - level, 0.0)) / 2
    if shape == "triangle":
        top = np.maximum(tmax - level, 0.0)
        cut = np.maximum(tmin - level, 0.0)
        tip = top * top / (2 * np.maximum(tmax - tmin, _FLAT))
        return np.where(cut > 0, (top + cut) / 2, tip)
    mean = (tmin + tmax) / 2
    half = (tmax - tmin) / 2
    u = np.clip((level - mean) / np.maximum(half, _FLAT), -1.0, 1.0)
    area = ((mean - level) * np.arccos(u) + half * np.sqrt(1.0 - u * u)) / np.pi
    return np.maximum(area, 0.0)


def share_above(tmin: Array, tmax: Array, level: Array, shape: Shape = "sine") -> Array:
    """Part of the day spent above a level, P(c), between 0 and 1.

    Parameters and shapes as in :func:`area_above`. A day that only touches the level from above counts
    as wholly above it; a flat day at the level counts as not above.

    Returns
    -------
    ndarray
        Share of the day, dimensionless; NaN where an input is NaN.

    Examples
    --------
    >>> round(float(share_above(np.array(10.0), np.array(30.0), np.array(20.0))), 6)
    0.5
    """
    unknown = np.isnan(tmin) | np.isnan(tmax) | np.isnan(level)
    if shape == "mean":
        share = np.where((tmin + tmax) / 2 > level, 1.0, 0.0)
    elif shape == "extremes":
        share = (np.where(tmin > level, 1.0, 0.0) + np.where(tmax > level, 1.0, 0.0)) / 2
    elif shape == "triangle":
        share = np.clip((tmax - level) / np.maximum(tmax - tmin, _FLAT), 0.0, 1.0)
    else:
        half = np.maximum((tmax - tmin) / 2, _FLAT)
        u = np.clip((level - (tmin + tmax) / 2) / half, -1.0, 1.0)
        share = np.arccos(u) / np.pi
    return np.where(unknown, np.nan, np.where(tmax > level, share, 0.0))
