"""Degree-days: a day's warmth between two thresholds, from the day's extremes or from hourly values.

A method lays a curve through a day's minimum n and maximum x: a ``sine`` wave or straight lines
(``triangle``) between them, their ``mean`` all day long (McMaster & Wilhelm 1997, first reading), or half the
day at each of the ``extremes`` (the same, second reading). All methods and cutoffs come from two numbers of
that curve: E(c), the day's mean of max(T - c, 0), and P(c), the part of the day with T > c. The closed forms
are derived here; the tests integrate the curves numerically. With L = base and U = upper:

=========================  ===================================================  =========================
cutoff                     rate above U                                         degree-days of the day
=========================  ===================================================  =========================
none (no ``upper``)        goes on rising                                       E(L)
``horizontal``             stays as it is at U                                  E(L) - E(U)
``intermediate``           falls as fast as it rose, never below 0              E(L) - 2E(U) + E(2U-L)
``intermediate_unfloored`` falls as fast as it rose, also below 0               E(L) - 2E(U)
``vertical``               0                                                    E(L) - E(U) - (U-L)P(U)
=========================  ===================================================  =========================

Derived here. Whether the first description of the intermediate cutoff floors it is not known to us; the
two agree until the maximum passes 2U - L. The names and six cases of the sine method are usually credited
to Baskerville & Emin 1969, Ecology 50:514-517 and Zalom et al. 1983, UC Leaflet 21373 (from memory,
unverified); the two readings of the average method are McMaster & Wilhelm 1997, Agric. For. Meteorol.
87:291-300 (how ``upper`` enters them is from memory, unverified).
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from phenology.model.arrays import Array
from phenology.model.errors import InputError

Method = Literal[
    "single_sine",
    "double_sine",
    "single_triangle",
    "double_triangle",
    "average_mean_clamped",
    "average_extremes_clamped",
    "average_unfloored",
]
Cutoff = Literal["horizontal", "intermediate", "intermediate_unfloored", "vertical"]

METHODS: tuple[str, ...] = get_args(Method)
CUTOFFS: tuple[str, ...] = get_args(Cutoff)

Shape = Literal["sine", "triangle", "mean", "extremes"]

_FLAT = 1e-12  # a day flatter than this is flat: far below what a thermometer can tell, and fit to divide by

_SHAPE: dict[str, Shape] = {
    "single_sine": "sine",
    "double_sine": "sine",
    "single_triangle": "triangle",
    "double_triangle": "triangle",
    "average_mean_clamped": "mean",
    "average_extremes_clamped": "extremes",
    "average_unfloored": "mean",
}


def degree_days(
    tmin: ArrayLike,
    tmax: ArrayLike,
    base: ArrayLike,
    upper: ArrayLike | None = None,
    *,
    method: Method = "single_sine",
    cutoff: Cutoff = "horizontal",
    tmin_next: ArrayLike | None = None,
    first_day: date | None = None,
) -> Array:
    """Degree-days of each day from its minimum and maximum temperature.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., n_days)
        Daily minimum and maximum; any shapes that broadcast, days on the last axis. [°C]
    base : array_like
        Lower threshold L, below which nothing accumulates; broadcasts with the days. [°C]
    upper : array_like, optional
        Upper threshold U; without it warmth has no ceiling. [°C]
    method : str
        The day's curve. ``single_*``: symmetric about the maximum; ``double_*``: the second half of the
        day falls to the next day's minimum; ``average_mean_clamped``: the mean, held between the
        thresholds; ``average_extremes_clamped``: each extreme held, then averaged;
        ``average_unfloored``: the mean less the base, also when negative.
    cutoff : str
        What happens above ``upper``, see the table at the top of this module.
    tmin_next : array_like, optional
        Minimum of the following day, for the double methods. By default the next entry on the last
        axis; the last day then ends at its own minimum. [°C]
    first_day : date, optional
        Date of the first entry, so that errors can name the day by its date.

    Returns
    -------
    ndarray
        Degree-days, 0 or more (except with the ``_unfloored`` forms); NaN where an input is NaN. [°C·d]

    Raises
    ------
    InputError
        If any ``tmin`` lies above ``tmax`` or is infinite, ``upper`` is not above ``base``, a threshold
        is not a number, or the method or cutoff is unknown. The first bad day is named.

    Notes
    -----
    ``horizontal`` and no cutoff never fall when ``tmin`` or ``tmax`` rises; the other
    cutoffs fall on hot days, by design.
    The same function serves °F: thresholds and readings in °F give °F·d, 9/5 of the °C·d.

    Examples
    --------
    A day from 5 to 15 °C above 10 °C is half a sine arch, 5/π; a day wholly above is mean less base:

    >>> degree_days([5.0, 12.0], [15.0, 22.0], base=10.0).round(4)
    array([1.5915, 7.    ])
    >>> degree_days([16.0], [36.0], 10.0, 30.0, method="single_triangle", cutoff="vertical").round(4)
    array([9.1])
    """
    if method not in _SHAPE:
        raise InputError(f"there is no degree-day method '{method}'; use one of {', '.join(METHODS)}")
    n, x = checked_extremes(tmin, tmax, first_day=first_day)
    low, high = _checked_thresholds(base, upper, cutoff)
    shape = _SHAPE[method]
    if not method.startswith("double"):
        day = _between(n, x, low, high, cutoff, shape)
        if method == "average_unfloored":
            day = day + np.minimum((n + x) / 2 - low, 0.0)
        return day
    following = _following_minimum(n, x) if tmin_next is None else np.asarray(tmin_next, dtype=np.float64)
    # A warm front can lift the next minimum above today's maximum: the evening then rises to it.
    evening = _between(np.minimum(x, following), np.maximum(x, following), low, high, cutoff, shape)
    return (_between(n, x, low, high, cutoff, shape) + evening) / 2


def degree_days_hourly(
    temps: ArrayLike,
    base: ArrayLike,
    upper: ArrayLike | None = None,
    *,
    cutoff: Cutoff = "horizontal",
) -> Array:
    """Degree-days of each day from evenly spaced readings within the day.

    Parameters
    ----------
    temps : array_like, shape (..., n_readings)
        Readings of one day on the last axis, usually 24 hourly values; any even spacing will do. [°C]
    base, upper : array_like
        Thresholds, as in :func:`degree_days`; they broadcast with the leading axes. [°C]
    cutoff : str
        As in :func:`degree_days`.

    Returns
    -------
    ndarray, shape (...)
        The mean over the day of each reading's rate; NaN where any reading is NaN. [°C·d]

    Raises
    ------
    InputError
        If a reading is infinite (day and reading are named), there is none, or a threshold or cutoff
        cannot be used.

    Examples
    --------
    >>> degree_days_hourly([[8.0, 12.0, 18.0, 10.0], [20.0, 20.0, 36.0, 20.0]], base=10.0, upper=30.0)
    array([ 2.5, 12.5])
    """
    readings = np.asarray(temps, dtype=np.float64)
    if readings.ndim == 0 or readings.shape[-1] == 0:
        raise InputError("readings of a day must stand on the last axis, and there are none")
    if np.isinf(readings).any():
        where = np.unravel_index(int(np.argmax(np.isinf(readings))), readings.shape)
        day = f"day {where[-2]}, " if readings.ndim > 1 else ""
        raise InputError(f"{day}reading {where[-1]}: {readings[where]} °C is no temperature")
    low, high = _checked_thresholds(base, upper, cutoff)
    low = low[..., None]
    high = None if high is None else high[..., None]
    return np.asarray(_between(readings, readings, low, high, cutoff, "mean").mean(axis=-1))


def area_above(tmin: Array, tmax: Array, level: Array, shape: Shape = "sine") -> Array:
    """Day-mean of the temperature in excess of a level, E(c); arguments broadcast. [°C·d per day]

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
    """Part of the day spent above a level, P(c), from 0 to 1; NaN where an input is NaN.

    A day that only touches the level from above counts as wholly above it; a flat day at the level counts as
    not above.

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


def checked_extremes(
    tmin: ArrayLike, tmax: ArrayLike, *, first_day: date | None = None
) -> tuple[Array, Array]:
    """Daily extremes as float arrays, refused when they cannot be a day's extremes.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., n_days)
        Daily minimum and maximum; NaN is allowed and means unknown. [°C]
    first_day : date, optional
        Date of the first entry on the last axis, for the message.

    Raises
    ------
    InputError
        If shapes do not fit together, a value is infinite, or ``tmin > tmax``; names the first such day.
    """
    n = np.asarray(tmin, dtype=np.float64)
    x = np.asarray(tmax, dtype=np.float64)
    try:
        wrong = n > x
    except ValueError:
        raise InputError(f"tmin has shape {n.shape} and tmax {x.shape}: they must fit together") from None
    for name, values in (("tmin", n), ("tmax", x)):
        infinite = np.isinf(values)
        if infinite.any():
            where = np.unravel_index(int(np.argmax(infinite)), values.shape)
            raise InputError(f"{_day_name(where, first_day)}: {name} {values[where]} °C is no temperature")
    if wrong.any():
        where = np.unravel_index(int(np.argmax(wrong)), wrong.shape)
        low, high = np.broadcast_to(n, wrong.shape)[where], np.broadcast_to(x, wrong.shape)[where]
        raise InputError(f"{_day_name(where, first_day)}: tmin {low:g} °C is above tmax {high:g} °C")
    return n, x


def _day_name(where: tuple[np.intp, ...] | tuple[int, ...], first_day: date | None) -> str:
    """How a message names the day at an index: its date if known, else its place (and its row)."""
    if not where:
        return "the day" if first_day is None else first_day.isoformat()
    day = int(where[-1])
    name = f"day {day} (counting from 0)" if first_day is None else (first_day + timedelta(day)).isoformat()
    rows = ", ".join(str(int(i)) for i in where[:-1])
    return f"row {rows}, {name}" if rows else name


def _checked_thresholds(base: ArrayLike, upper: ArrayLike | None, cutoff: str) -> tuple[Array, Array | None]:
    if cutoff not in CUTOFFS:
        raise InputError(f"there is no cutoff '{cutoff}'; use one of {', '.join(CUTOFFS)}")
    low = np.asarray(base, dtype=np.float64)
    if not np.isfinite(low).all():
        raise InputError(f"base must be a number of °C, got {low.tolist()}")
    if upper is None:
        return low, None
    high = np.asarray(upper, dtype=np.float64)
    if not np.isfinite(high).all():
        raise InputError(f"upper must be a number of °C, got {high.tolist()}; leave it out for no ceiling")
    if (high <= low).any():
        raise InputError(
            f"upper must lie above base, got upper={high.tolist()} °C and base={low.tolist()} °C"
        )
    return low, high


def _following_minimum(n: Array, x: Array) -> Array:
    """The next day's minimum along the last axis; the last day keeps its own."""
    whole = np.broadcast_to(n, np.broadcast_shapes(n.shape, x.shape))
    if whole.ndim == 0:
        return whole
    return np.concatenate([whole[..., 1:], whole[..., -1:]], axis=-1)


def _between(n: Array, x: Array, low: Array, high: Array | None, cutoff: str, shape: Shape) -> Array:
    """Degree-days between the thresholds for one curve (the table at the top of this module)."""
    warmth = area_above(n, x, low, shape)
    if high is None:
        return warmth
    excess = area_above(n, x, high, shape)
    if cutoff == "horizontal":
        warmth = warmth - excess
    elif cutoff == "vertical":
        warmth = warmth - excess - (high - low) * share_above(n, x, high, shape)
    elif cutoff == "intermediate_unfloored":
        return np.asarray(warmth - 2 * excess)
    else:
        warmth = warmth - 2 * excess + area_above(n, x, 2 * high - low, shape)
    return np.asarray(np.maximum(warmth, 0.0))  # rounding may leave -1e-16
