"""Hours of daylight, for any day and latitude, with polar day and night: the CBM of Forsythe et al. 1995."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from phenology.model.arrays import Array
from phenology.model.errors import InputError

SUN_ANGLE = 0.8333
"""Depth of the sun's centre below the horizon when its refracted upper limb touches it. [degrees]"""


def daylength(day_of_year: ArrayLike, latitude: ArrayLike, *, sun_angle: ArrayLike = SUN_ANGLE) -> Array:
    """Daylight hours from day of year and latitude, after Forsythe et al. 1995 (CBM).

    Parameters
    ----------
    day_of_year : array_like
        1 = 1 January; fractions are allowed. Broadcasts with ``latitude``. [d]
    latitude : array_like
        North positive, -90 to 90. [degrees]
    sun_angle : array_like, optional
        How far the sun's centre stands below the horizon when day begins and ends. 0.8333 is sunrise as
        almanacs give it, 0 the centre on the horizon, 6 civil twilight. [degrees]

    Returns
    -------
    ndarray
        Hours of daylight, 0 in the polar night and 24 in the polar day; NaN where an input is NaN. [h]

    Raises
    ------
    InputError
        If a latitude lies outside -90 to 90 or a day outside 0 to 367.

    References
    ----------
    .. [1] W. C. Forsythe, E. J. Rykiel Jr., R. S. Stahl, H. Wu and R. M. Schoolfield, "A model comparison
       for daylength as a function of latitude and day of year," Ecological Modelling, vol. 80, no. 1,
       pp. 87-95, 1995 (formula from memory; it agrees with two solar libraries, see the tests).

    Examples
    --------
    >>> daylength([80, 172, 356], 51.5).round(2)
    array([12.16, 16.64,  7.82])
    >>> daylength(172, [-90.0, 0.0, 90.0]).round(2)
    array([ 0.  , 12.12, 24.  ])
    """
    day, degrees = (np.asarray(given, dtype=np.float64) for given in (day_of_year, latitude))
    if (far := np.abs(degrees) > 90).any():
        raise InputError(f"latitude must lie between -90 and 90, got {float(degrees[far][0]):g}")
    if (off := (day < 0) | (day > 367)).any():
        raise InputError(f"day of year must lie between 1 and 366, got {float(day[off][0]):g}")
    lat, depth = np.radians(degrees), np.radians(np.asarray(sun_angle, dtype=np.float64))
    theta = 0.2163108 + 2.0 * np.arctan(0.9671396 * np.tan(0.00860 * (day - 186.0)))
    declination = np.arcsin(0.39795 * np.cos(theta))
    up = np.sin(depth) + np.sin(lat) * np.sin(declination)
    # At the poles the cosine is nought, or a rounding error of either sign: the sun is up or down all day.
    across = np.maximum(np.cos(lat) * np.cos(declination), 1e-12)
    return np.asarray(24.0 - 24.0 / np.pi * np.arccos(np.clip(up / across, -1.0, 1.0)))
