"""Fahrenheit at the door: a temperature shifts by 32, a degree-day does not.

Inside flushcast everything is °C and °C·d. These four functions are the only conversions, so that the
two kinds of quantity cannot be confused: 50 °F is 10 °C, but 50 °F·d is 27.8 °C·d.

>>> float(c_to_f(10.0)), float(f_to_c(50.0)), float(degree_days_c_to_f(5.0)), float(degree_days_f_to_c(9.0))
(50.0, 10.0, 9.0, 5.0)
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from phenology.model.arrays import Array


def c_to_f(temperature: ArrayLike) -> Array:
    """Temperature in °C as °F."""
    return np.asarray(np.asarray(temperature, dtype=np.float64) * 1.8 + 32.0)


def f_to_c(temperature: ArrayLike) -> Array:
    """Temperature in °F as °C."""
    return np.asarray((np.asarray(temperature, dtype=np.float64) - 32.0) / 1.8)


def degree_days_c_to_f(degree_days: ArrayLike) -> Array:
    """Degree-days, or any temperature difference, in °C·d as °F·d: nine fifths, no offset."""
    return np.asarray(np.asarray(degree_days, dtype=np.float64) * 1.8)


def degree_days_f_to_c(degree_days: ArrayLike) -> Array:
    """Degree-days, or any temperature difference, in °F·d as °C·d: five ninths, no offset."""
    return np.asarray(np.asarray(degree_days, dtype=np.float64) / 1.8)
