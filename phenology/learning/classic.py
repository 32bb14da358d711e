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

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import ArrayLike

from phenology.garden import Garden
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition, all_transitions
from phenology.learning.waits import Wait
from phenology.model.arrays import Array
from phenology.model.errors import InputError

TOO_ALIKE = "these seasons are too alike to tell a base temperature"


@dataclass(frozen=True)
class ClassicBase:
    """A base temperature and requirement by one classic estimator."""

    base: float  # estimated base temperature. [°C]
    requirement: float  # mean degree-days above it; for the x-intercept the inverse of the slope. [°C·d]
    n: int  # seasons used
    # for the x-intercept only: confidence interval for the *average* relation, not for one season. An end is
    # infinite where the data set no limit. [°C], [°C·d]
    base_interval: tuple[float, float] | None = None
    requirement_interval: tuple[float, float] | None = None


def least_spread(method: str, mean_temps: ArrayLike, durations: ArrayLike) -> ClassicBase:
    """Base that makes the degree-days of seasons most alike.

    Parameters
    ----------
    method : {"sd_gdd", "sd_days", "cv_gdd"}
        What is made least; "in days" is not uniquely defined, here it is over (mean T - b).
    mean_temps : array_like, shape (n,)
        Mean temperature while the stage lasted. [°C]
    durations : array_like, shape (n,)
        How long it lasted, above 0. [d]

    Raises
    ------
    InputError
        If there are fewer than three whole pairs, or all durations or temperatures are alike.

    Examples
    --------
    >>> temps, days = [9.5, 11.2, 12.8, 14.1, 15.6, 17.3], [86, 58, 44, 38, 31, 27]
    >>> [round(least_spread(m, temps, days).base, 4) for m in ("sd_gdd", "sd_days", "cv_gdd")]
    [5.967, 5.9631, 5.9624]
    >>> round(least_spread("sd_gdd", temps, days).requirement, 2)
    303.61
    """
    t, d = _checked(mean_temps, durations)
    (yy, yd), (_, dd) = np.cov(d * t, d)
    # b = (S(y,d) u - S(y,y) v) / (S(d,d) u - S(y,d) v)
    u, v = {"sd_gdd": (1.0, 0.0), "sd_days": (t.mean(), 1.0), "cv_gdd": ((d * t).mean(), d.mean())}[method]
    below = dd * u - yd * v
    if below == 0:
        raise InputError(TOO_ALIKE)
    base = float((yd * u - yy * v) / below)
    return ClassicBase(base, float((d * (t - base)).mean()), len(t))


def x_intercept(mean_temps: ArrayLike, durations: ArrayLike, *, level: float = 0.95) -> ClassicBase:
    """Base where the rate 1/d, regressed on temperature, meets nought; with confidence intervals.

    Parameters
    ----------
    mean_temps, durations : array_like, shape (n,)
        As in :func:`least_spread`.
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
        As :func:`least_spread`, or if the rate does not rise with temperature.

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
    p, q = map(float, fit.params)
    if q <= 0:
        raise InputError("the stage does not go faster in warmth in these seasons: no base can be read off")
    covariance = np.asarray(fit.cov_params())
    student = float(stdtrit(len(t) - 2, (1 + level) / 2))
    a, b, c = np.array([q * q, p * q, p * p]) - student**2 * covariance[[1, 0, 0], [1, 1, 0]]
    base_interval = (-np.inf, np.inf)
    if a > 0:  # the slope is distinct from 0, and the two roots are real and enclose the estimate
        root = float(np.sqrt(max(b * b - a * c, 0.0)))
        base_interval = (float((-b - root) / a), float((-b + root) / a))
    half = student * float(np.sqrt(covariance[1, 1]))
    highest = 1.0 / (q - half) if q > half else np.inf
    return ClassicBase(-p / q, 1.0 / q, len(t), base_interval, (1.0 / (q + half), highest))


CLASSIC: dict[str, Callable[[ArrayLike, ArrayLike], ClassicBase]] = {
    **{method: partial(least_spread, method) for method in ("sd_gdd", "sd_days", "cv_gdd")},
    "x_intercept": x_intercept,
}
"""The four estimators by name."""


def _checked(mean_temps: ArrayLike, durations: ArrayLike) -> tuple[Array, Array]:
    t = np.asarray(mean_temps, dtype=np.float64)
    d = np.asarray(durations, dtype=np.float64)
    if t.ndim != 1 or t.shape != d.shape:
        raise InputError(f"each season needs one temperature and one duration, got {t.shape} and {d.shape}")
    bad = (d <= 0) | np.isinf(t) | np.isinf(d)
    if bad.any():
        i = int(np.argmax(bad))
        raise InputError(f"season {i} (counting from 0): {d[i]:g} days at {t[i]:g} °C cannot be")
    whole = ~(np.isnan(t) | np.isnan(d))
    t, d = t[whole], d[whole]
    if len(t) < 3:
        raise InputError(f"a base temperature needs at least 3 seasons, got {len(t)}")
    if np.ptp(t) == 0 or np.ptp(d) == 0:
        raise InputError(TOO_ALIKE)
    return t, d


@dataclass(frozen=True)
class ClassicRow:
    """One species, step and method."""

    species: str
    transition: Transition
    waits: int  # finished ones used
    seasons: int  # they come from
    method: str  # one of `CLASSIC`
    result: ClassicBase | None  # what the estimator says; None where `why_not` says why
    why_not: str = ""


def classic_rows(fit: GardenFit, species: str | None = None) -> Iterator[ClassicRow]:
    """Classic estimates for every species and single step with finished waits.

    Parameters
    ----------
    species : str, optional
        Latin name; without it every species that has trees.
    """
    for name in [species] if species else dict.fromkeys(t.species for t in fit.garden.trees):
        for step in all_transitions():
            waits = [
                w
                for w in fit.waits(step)
                if w.species == name and np.isfinite(w.target).all() and _measured(fit.garden, w)
            ]
            if not waits or len(step.links()) > 1:
                continue
            temps, days = np.array([warmth_and_length(fit.garden, wait) for wait in waits]).T
            seasons = len({w.season for w in waits})
            for method, estimate in CLASSIC.items():
                try:
                    yield ClassicRow(name, step, len(waits), seasons, method, estimate(temps, days))
                except InputError as error:
                    yield ClassicRow(name, step, len(waits), seasons, method, None, str(error))


def _measured(garden: Garden, wait: Wait) -> bool:
    """Whether any of a wait's days were measured: on the usual year alone all waits are equally warm."""
    record = garden.record_at(wait.site)
    return bool(np.isfinite(record.tmin[record.row(wait.season), : int(wait.target[1]) + 1]).any())


def warmth_and_length(garden: Garden, wait: Wait) -> tuple[float, float]:
    """Mean temperature where the tree stood, and days, from middle to middle of a wait's two intervals."""
    began, ended = wait.anchor_middle, float(np.mean(wait.target))
    ended = max(ended, began + 0.5)  # looks on neighbouring days may put the middles on one moment
    low, high, _ = garden.record_at(wait.site).filled(wait.season)
    sums = np.concatenate([[0.0], np.cumsum((low + high) / 2)])
    at = np.interp([began, ended], np.arange(len(sums)), sums)
    return float(at[1] - at[0]) / (ended - began), ended - began
