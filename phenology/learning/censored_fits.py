"""Plain distributions fitted to events nobody saw happen: each lies somewhere between two looks.

These are cross-checks for flushcast's own fit and a summary for small tables of waits ("days from cutback
to hard"); no tree, season or temperature enters.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from phenology.model.arrays import Array
from phenology.model.errors import InputError

Family = Literal["lognormal", "normal", "weibull", "loglogistic"]
FAMILIES: tuple[str, ...] = get_args(Family)


@dataclass(frozen=True)
class CensoredFit:
    """A distribution fitted by maximum likelihood.

    Attributes
    ----------
    family : str
        Name of the distribution.
    parameters : dict of str to float
        ``lognormal``, ``normal``: ``mu``, ``sigma`` (of the logarithm for the first). ``weibull``: scale
        ``lambda``, shape ``rho``. ``loglogistic``: scale ``alpha`` (the median), shape ``beta``.
    log_likelihood : float
        At the maximum.
    median : float
        Same unit as the data. [d]
    n, n_right_censored : int
        Events, and how many of them had not come by the last look.
    """

    family: str
    parameters: dict[str, float]
    log_likelihood: float
    median: float
    n: int
    n_right_censored: int


def fit_interval_censored(left: ArrayLike, right: ArrayLike, family: Family = "lognormal") -> CensoredFit:
    """Fit a distribution to events that lie in (left, right].

    Parameters
    ----------
    left, right : array_like, shape (n,)
        Last look before and first look after; ``right`` infinite where the event had not come, ``left``
        0 (or minus infinity, for the normal) where it had come before the first look. [d]
    family : {"lognormal", "normal", "weibull", "loglogistic"}
        The distribution.

    Returns
    -------
    CensoredFit

    Raises
    ------
    InputError
        If an interval has no length or is not known, a positive family meets a negative time, nothing
        was seen to happen, the events do not fix a spread, or the family is unknown.

    Notes
    -----
    All four are location-scale families, of the time or its logarithm: F((x - m) / s), with F normal,
    logistic or that of the smallest extreme. The log-likelihood is the sum of log(F(right) - F(left)),
    maximised over m and log s. Derived here; agrees with a survival library, see the tests.

    Examples
    --------
    >>> fit = fit_interval_censored([21, 21, 28, 28, 35, 42], [28, 28, 35, 35, 42, 49], "normal")
    >>> round(fit.median, 1), fit.n
    (32.7, 6)
    """
    from scipy.optimize import minimize

    if family not in FAMILIES:
        raise InputError(f"there is no distribution '{family}' here; use one of {', '.join(FAMILIES)}")
    a, b = _checked(left, right, positive=family != "normal")
    if family != "normal":
        with np.errstate(divide="ignore"):  # left-censored from time 0: log 0 is minus infinity
            a, b = np.log(a), np.log(b)
    log_mass = _LOG_MASS[family]
    seen = np.isfinite(b)
    middle = np.where(np.isfinite(a), (a + np.where(seen, b, a)) / 2, b)
    spread = max(float(middle.std()), float(np.ptp(middle)) / 4, 1e-3)

    def loss(at: Array) -> float:
        m, s = at[0], np.exp(np.clip(at[1], -30.0, 30.0))
        return -float(log_mass((a - m) / s, (b - m) / s).sum())

    start = np.array([middle.mean(), np.log(spread)])
    found = minimize(
        loss, start, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000}
    )
    m, log_s = (float(v) for v in found.x)
    if not found.success:
        raise InputError(f"no best {family} distribution was found for these events")
    s = float(np.exp(log_s))
    median = m + s * _MEDIAN[family]
    return CensoredFit(
        family,
        _named(family, m, s),
        -float(found.fun),
        median if family == "normal" else float(np.exp(median)),
        len(a),
        int((~seen).sum()),
    )


def _named(family: str, m: float, s: float) -> dict[str, float]:
    if family in ("normal", "lognormal"):
        return {"mu": m, "sigma": s}
    scale, shape = ("lambda", "rho") if family == "weibull" else ("alpha", "beta")
    return {scale: float(np.exp(m)), shape: 1.0 / s}


def _log_difference(log_high: Array, log_low: Array) -> Array:
    """log(exp(high) - exp(low)) without losing the far tails; minus infinity where they are equal."""
    gap = np.minimum(log_low - log_high, -1e-300)
    return np.asarray(log_high + np.log(-np.expm1(gap)))


def _log_mass_normal(a: Array, b: Array) -> Array:
    from scipy.special import log_ndtr

    # Work in the tail the interval lies in, where the two probabilities are small and their logs exact.
    upper = a > 0
    low, high = np.where(upper, -b, a), np.where(upper, -a, b)
    return _log_difference(log_ndtr(high), log_ndtr(low))


def _log_mass_logistic(a: Array, b: Array) -> Array:
    from scipy.special import log_expit

    upper = a > 0
    low, high = np.where(upper, -b, a), np.where(upper, -a, b)
    return _log_difference(log_expit(high), log_expit(low))


def _log_mass_smallest_extreme(a: Array, b: Array) -> Array:
    # Log survival at the ends; the search may stray to where exp overflows, infinity means right-censored.
    survive_a = -np.exp(np.minimum(a, 700.0))
    survive_b = np.where(np.isinf(b), -np.inf, -np.exp(np.minimum(b, 700.0)))
    return _log_difference(survive_a, survive_b)


_LOG_MASS: dict[str, Callable[[Array, Array], Array]] = {
    "normal": _log_mass_normal,
    "lognormal": _log_mass_normal,
    "weibull": _log_mass_smallest_extreme,
    "loglogistic": _log_mass_logistic,
}
_MEDIAN = {
    "normal": 0.0,
    "lognormal": 0.0,
    "loglogistic": 0.0,
    "weibull": float(np.log(np.log(2.0))),
}


def _checked(left: ArrayLike, right: ArrayLike, *, positive: bool) -> tuple[Array, Array]:
    a = np.asarray(left, dtype=np.float64)
    b = np.asarray(right, dtype=np.float64)
    if a.ndim != 1 or a.shape != b.shape or not len(a):
        raise InputError(f"each event needs a left and a right end, got shapes {a.shape} and {b.shape}")
    bad = ~(a < b) | ((a < 0) & positive)
    if bad.any():
        i = int(np.argmax(bad))
        raise InputError(
            f"event {i} (counting from 0): ({a[i]:g}, {b[i]:g}] is no stretch of "
            + ("positive time" if positive else "time")
        )
    unbounded = np.isinf(a) & np.isinf(b)
    if unbounded.any():
        raise InputError(f"event {int(np.argmax(unbounded))} (counting from 0) is bounded on neither side")
    if np.isinf(b).all():
        raise InputError("no event was seen to happen: nothing to fit")
    if a.max() <= b.min():
        # Also when two stretches only touch: then a spread of nought reaches the greatest likelihood.
        raise InputError("the looks do not fix a spread: every event may have come at the same time")
    return a, b
