"""The classic estimators of a base temperature, from how long a stage took at which mean temperature.

Each season (or growth chamber) i gives a mean temperature T and a duration d; the degree-days above a base
b are d (T - b). Three estimators look for the b that makes those most alike, the fourth for the temperature
at which the rate 1/d falls to nought:

==============  =====================================  ==================================================
method          minimises                              closed form (S = sample covariance, y = d T)
==============  =====================================  ==================================================
``sd_gdd``      SD of the degree-days                  b = S(y,d) / S(d,d)
``sd_days``     that SD over (mean T - b)              b = (S(y,d) T̄ - S(y,y)) / (S(d,d) T̄ - S(y,d))
``cv_gdd``      SD of the degree-days over their mean  b = (S(y,d) ȳ - S(y,y) d̄) / (S(d,d) ȳ - S(y,d) d̄)
``x_intercept`` squared error of 1/d on T              b = -intercept / slope, requirement 1 / slope
==============  =====================================  ==================================================

The closed forms are derived here. The names are usually credited to Arnold 1959, Proc. Am. Soc. Hort. Sci.
74:430-445 and Yang, Logan & Coffey 1995, Agric. For. Meteorol. 74:61-74 (from memory, unverified). They are
shown beside flushcast's own fit, not used by it: they know no looks, only dates, and their base and
requirement are not independent, so compare them by the dates they give.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from phenology.model.arrays import Array
from phenology.model.errors import InputError


@dataclass(frozen=True)
class ClassicBase:
    """A base temperature and requirement by one classic estimator.

    Attributes
    ----------
    method : str
        ``sd_gdd``, ``sd_days``, ``cv_gdd`` or ``x_intercept``.
    base : float
        Estimated base temperature. [°C]
    requirement : float
        Mean degree-days above it; for the x-intercept the inverse of the slope. [°C·d]
    n : int
        Seasons used.
    base_interval, requirement_interval : tuple of float, optional
        For the x-intercept only: interval for the *average* relation, not for one season. An end is
        infinite where the data set no limit. [°C], [°C·d]
    level : float, optional
        Confidence level of those intervals.
    """

    method: str
    base: float
    requirement: float
    n: int
    base_interval: tuple[float, float] | None = None
    requirement_interval: tuple[float, float] | None = None
    level: float | None = None

    def days(self, mean_temp: ArrayLike) -> Array:
        """Days the stage takes at a constant temperature; NaN at or below the base. [d]"""
        excess = np.asarray(mean_temp, dtype=np.float64) - self.base
        return np.asarray(self.requirement / np.where(excess > 0, excess, np.nan))


def least_sd_degree_days(mean_temps: ArrayLike, durations: ArrayLike) -> ClassicBase:
    """Base with the least standard deviation of degree-days.

    Parameters
    ----------
    mean_temps : array_like, shape (n,)
        Mean temperature while the stage lasted. [°C]
    durations : array_like, shape (n,)
        How long it lasted, above 0. [d]

    Returns
    -------
    ClassicBase

    Raises
    ------
    InputError
        If there are fewer than three whole pairs, or all durations or temperatures are alike.

    Examples
    --------
    >>> fit = least_sd_degree_days([9.5, 11.2, 12.8, 14.1, 15.6, 17.3], [86, 58, 44, 38, 31, 27])
    >>> round(fit.base, 4), round(fit.requirement, 2)
    (5.967, 303.61)
    """
    t, d = _checked(mean_temps, durations)
    s = _covariances(t, d)
    return _with_mean_requirement("sd_gdd", s.yd / s.dd, t, d)


def least_sd_days(mean_temps: ArrayLike, durations: ArrayLike) -> ClassicBase:
    """Base with the least standard deviation in days: that of degree-days over the mean daily warmth.

    "In days" is not uniquely defined; this divides by (mean T - b). Parameters, result and errors as in
    :func:`least_sd_degree_days`.

    Examples
    --------
    >>> round(least_sd_days([9.5, 11.2, 12.8, 14.1, 15.6, 17.3], [86, 58, 44, 38, 31, 27]).base, 4)
    5.9631
    """
    t, d = _checked(mean_temps, durations)
    s = _covariances(t, d)
    mean = float(t.mean())
    return _with_mean_requirement("sd_days", _ratio(s.yd * mean - s.yy, s.dd * mean - s.yd), t, d)


def least_cv_degree_days(mean_temps: ArrayLike, durations: ArrayLike) -> ClassicBase:
    """Base with the least coefficient of variation of degree-days.

    Parameters, result and errors as in :func:`least_sd_degree_days`.

    Examples
    --------
    >>> round(least_cv_degree_days([9.5, 11.2, 12.8, 14.1, 15.6, 17.3], [86, 58, 44, 38, 31, 27]).base, 4)
    5.9624
    """
    t, d = _checked(mean_temps, durations)
    s = _covariances(t, d)
    y_mean, d_mean = float((t * d).mean()), float(d.mean())
    base = _ratio(s.yd * y_mean - s.yy * d_mean, s.dd * y_mean - s.yd * d_mean)
    return _with_mean_requirement("cv_gdd", base, t, d)


def x_intercept(mean_temps: ArrayLike, durations: ArrayLike, *, level: float = 0.95) -> ClassicBase:
    """Base where the rate 1/d, regressed on temperature, meets nought; with confidence intervals.

    Parameters
    ----------
    mean_temps, durations : array_like, shape (n,)
        As in :func:`least_sd_degree_days`.
    level : float, optional
        Confidence level.

    Returns
    -------
    ClassicBase
        The base interval is Fieller's (the set of bases at which the fitted line could be nought); where
        the slope is not distinct from 0 at this level it is not bounded and both ends are infinite. The
        requirement interval is the inverse of the slope's, infinite above where the slope's reaches 0.

    Raises
    ------
    InputError
        As :func:`least_sd_degree_days`, or if the rate does not rise with temperature.

    Notes
    -----
    With intercept p, slope q, their covariance matrix V and Student's t on n - 2 degrees of freedom, the
    interval is where ``(p + q b)² <= t² (V11 + 2 b V12 + b² V22)``. Derived here. It is an interval for
    the average relation; one season scatters more widely.

    Examples
    --------
    A leaf beetle at four constant temperatures; its abstract prints 7.1 °C and 304.6 degree-days:

    >>> fit = x_intercept([18, 21.5, 25, 28], [28.2, 21.6, 16.1, 15.0])
    >>> round(fit.base, 1), round(fit.requirement, 1)
    (7.1, 304.6)
    """
    import statsmodels.api as sm
    from scipy.special import stdtrit

    t, d = _checked(mean_temps, durations)
    if not 0 < level < 1:
        raise InputError(f"a confidence level lies between 0 and 1, got {level}")
    fit = sm.OLS(1.0 / d, sm.add_constant(t)).fit()
    p, q = (float(v) for v in fit.params)
    if q <= 0:
        raise InputError("the stage does not go faster in warmth in these seasons: no base can be read off")
    v = np.asarray(fit.cov_params())
    student = float(stdtrit(len(t) - 2, (1 + level) / 2))
    a = q * q - student**2 * v[1, 1]
    b = p * q - student**2 * v[0, 1]
    c = p * p - student**2 * v[0, 0]
    base_interval = (-np.inf, np.inf)
    if a > 0:  # the slope is distinct from 0, and the two roots are real and enclose the estimate
        root = float(np.sqrt(max(b * b - a * c, 0.0)))
        base_interval = (float((-b - root) / a), float((-b + root) / a))
    half = student * float(np.sqrt(v[1, 1]))
    highest = 1.0 / (q - half) if q > half else np.inf
    return ClassicBase(
        "x_intercept", -p / q, 1.0 / q, len(t), base_interval, (1.0 / (q + half), highest), level
    )


CLASSIC: dict[str, Callable[[ArrayLike, ArrayLike], ClassicBase]] = {
    "sd_gdd": least_sd_degree_days,
    "sd_days": least_sd_days,
    "cv_gdd": least_cv_degree_days,
    "x_intercept": x_intercept,
}
"""The four estimators by name."""


@dataclass(frozen=True)
class _Covariances:
    yy: float
    yd: float
    dd: float


def _covariances(t: Array, d: Array) -> _Covariances:
    both = np.cov(t * d, d)
    return _Covariances(float(both[0, 0]), float(both[0, 1]), float(both[1, 1]))


def _ratio(above: float, below: float) -> float:
    if below == 0:
        raise InputError("these seasons are too alike to tell a base temperature")
    return above / below


def _with_mean_requirement(method: str, base: float, t: Array, d: Array) -> ClassicBase:
    return ClassicBase(method, float(base), float((d * (t - base)).mean()), len(t))


def _checked(mean_temps: ArrayLike, durations: ArrayLike) -> tuple[Array, Array]:
    t = np.asarray(mean_temps, dtype=np.float64)
    d = np.asarray(durations, dtype=np.float64)
    if t.ndim != 1 or t.shape != d.shape:
        raise InputError(f"each season needs one temperature and one duration, got {t.shape} and {d.shape}")
    if (d <= 0).any() or np.isinf(t).any() or np.isinf(d).any():
        i = int(np.argmax((d <= 0) | np.isinf(t) | np.isinf(d)))
        raise InputError(f"season {i} (counting from 0): {d[i]:g} days at {t[i]:g} °C cannot be")
    whole = ~(np.isnan(t) | np.isnan(d))
    t, d = t[whole], d[whole]
    if len(t) < 3:
        raise InputError(f"a base temperature needs at least 3 seasons, got {len(t)}")
    if np.ptp(t) == 0 or np.ptp(d) == 0:
        raise InputError("these seasons are too alike to tell a base temperature")
    return t, d
