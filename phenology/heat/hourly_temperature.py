"""Temperature through the day, from daily extremes: three published curves.

Hours are counted from midnight of the day; the night after sunset runs on past 24 to the next sunrise.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from phenology.heat.thermal_time import checked_extremes
from phenology.model.arrays import Array
from phenology.model.errors import InputError

Curve = Literal["linvill", "cesaraccio", "campbell_norman"]

_OMEGA = np.pi / 12  # one turn a day


def linvill(
    hour: ArrayLike,
    tmin: ArrayLike,
    tmax: ArrayLike,
    tmin_next: ArrayLike,
    sunrise: ArrayLike,
    sunset: ArrayLike,
    *,
    night_shift: float = 0.0,
) -> Array:
    """Temperature at an hour between sunrise and the next sunrise: a sine by day, a logarithm by night.

    Parameters
    ----------
    hour : array_like
        Hour, from sunrise to sunrise + 24; all arguments broadcast. [h]
    tmin, tmax, tmin_next : array_like
        The day's extremes and the next day's minimum. [°C]
    sunrise, sunset : array_like
        With ``sunrise < sunset < sunrise + 23``. [h]
    night_shift : float, optional
        Hours added to the time since sunset and to the length of the night. 0 is the printed formula,
        which stays at its sunset value for the first hour; 1 is the variant coded in xclim. [h]

    Returns
    -------
    ndarray
        Temperature; NaN where an input is NaN. [°C]

    Raises
    ------
    InputError
        If the hour lies outside the day, or the sun times or extremes are out of order.

    References
    ----------
    .. [1] D. E. Linvill, "Calculating chilling hours and chill units from daily maximum and minimum
       temperature observations," HortScience, vol. 25, no. 1, pp. 14-16, 1990 (citation from memory; the
       pair of curves as in the code of xclim 0.62.0).

    Examples
    --------
    >>> linvill([8.0, 22.0], 10.0, 30.0, 12.0, 6.0, 18.0).round(4)
    array([17.6537, 17.3682])
    """
    t, rise, sets = _checked_hours(hour, sunrise, sunset)
    n, x = checked_extremes(tmin, tmax)
    last = np.asarray(tmin_next, dtype=np.float64)
    length = sets - rise

    def by_day(at: Array) -> Array:
        return np.asarray(n + (x - n) * np.sin(np.pi * (at - rise) / (length + 4)))

    at_sunset = by_day(sets)
    # Held at one: before that the logarithm would lift the evening above the sunset temperature.
    since = np.maximum(t - sets + night_shift, 1.0)
    night = at_sunset - (at_sunset - last) * np.log(since) / np.log(24 - length + night_shift)
    return np.where(t <= sets, by_day(t), night)


def cesaraccio(
    hour: ArrayLike,
    tmin: ArrayLike,
    tmax: ArrayLike,
    tmin_next: ArrayLike,
    sunrise: ArrayLike,
    sunset: ArrayLike,
) -> Array:
    """Temperature at an hour between sunrise and the next: two sines by day, a square root by night.

    The maximum stands four hours before sunset. Parameters, result and errors as in :func:`linvill`;
    the day must be longer than four hours.

    References
    ----------
    .. [1] C. Cesaraccio, D. Spano, P. Duce and R. L. Snyder, "An improved model for determining
       degree-day values from daily temperature data," International Journal of Biometeorology, vol. 45,
       pp. 161-169, 2001 (formula from memory, unverified).

    Examples
    --------
    >>> cesaraccio([8.0, 22.0], 10.0, 30.0, 12.0, 6.0, 18.0).round(4)
    array([17.6537, 16.6407])
    """
    t, rise, sets = _checked_hours(hour, sunrise, sunset)
    if (sets - rise <= 4).any():
        raise InputError("this curve needs a day longer than 4 hours between sunrise and sunset")
    n, x = checked_extremes(tmin, tmax)
    last = np.asarray(tmin_next, dtype=np.float64)
    at_sunset = x - 0.39 * (x - last)
    peak = sets - 4
    morning = n + (x - n) * np.sin(np.pi / 2 * (t - rise) / (peak - rise))
    afternoon = at_sunset + (x - at_sunset) * np.cos(np.pi / 8 * (t - peak))
    share = np.clip((t - sets) / (24 - (sets - rise)), 0.0, None)
    night = at_sunset + (last - at_sunset) * np.sqrt(share)
    return np.where(t <= peak, morning, np.where(t <= sets, afternoon, night))


def campbell_norman(
    hour: ArrayLike,
    tmin: ArrayLike,
    tmax: ArrayLike,
    tmin_next: ArrayLike,
    tmax_before: ArrayLike | None = None,
) -> Array:
    """Temperature at an hour of the day from a fixed two-wave curve that needs no sun times.

    Parameters
    ----------
    hour : array_like
        Hour from midnight, 0 to 24; all arguments broadcast. [h]
    tmin, tmax, tmin_next : array_like
        The day's extremes and the next day's minimum, used after 14 h. [°C]
    tmax_before : array_like, optional
        The day before's maximum, used up to 5 h; the day's own by default. [°C]

    Returns
    -------
    ndarray
        Temperature; NaN where an input is NaN. The curve comes within 3 % of the range of the extremes
        and never quite reaches them. [°C]

    Raises
    ------
    InputError
        If an hour lies outside 0-24 or ``tmin > tmax``.

    References
    ----------
    .. [1] G. S. Campbell and J. M. Norman, An Introduction to Environmental Biophysics, 2nd ed., 1998,
       eq. 2.2-2.3 (as quoted in a teaching note).

    Examples
    --------
    >>> campbell_norman([8.0, 22.0], 10.0, 30.0, 12.0).round(4)
    array([15.4047, 16.5861])
    """
    t = np.asarray(hour, dtype=np.float64)
    if ((t < 0) | (t > 24)).any():
        raise InputError("hours of this curve run from 0 to 24")
    n, x = checked_extremes(tmin, tmax)
    earlier = x if tmax_before is None else np.asarray(tmax_before, dtype=np.float64)
    high = np.where(t <= 5, earlier, x)
    low = np.where(t > 14, np.asarray(tmin_next, dtype=np.float64), n)
    gamma = 0.44 - 0.46 * np.sin(_OMEGA * t + 0.9) + 0.11 * np.sin(2 * _OMEGA * t + 0.9)
    return np.asarray(high * gamma + low * (1 - gamma))


def hourly_temperatures(
    tmin: ArrayLike,
    tmax: ArrayLike,
    sunrise: ArrayLike = 6.0,
    sunset: ArrayLike = 18.0,
    *,
    curve: Curve = "linvill",
) -> Array:
    """Twenty-four hourly temperatures (0 h to 23 h) for each of a run of days.

    Hours before sunrise belong to the night of the day before. The first day takes its own extremes for
    the day before, and the last day its own minimum for the day after.

    Parameters
    ----------
    tmin, tmax : array_like, shape (..., n_days)
        Daily extremes. [°C]
    sunrise, sunset : array_like, broadcasting with the days
        Sun times; not used by ``campbell_norman``. [h]
    curve : {"linvill", "cesaraccio", "campbell_norman"}
        Which curve.

    Returns
    -------
    ndarray, shape (..., n_days, 24)
        Temperatures, ready for :func:`phenology.heat.thermal_time.degree_days_hourly`. [°C]

    Raises
    ------
    InputError
        As the curves, or for an unknown curve.

    Examples
    --------
    >>> hourly_temperatures([10.0, 12.0], [30.0, 28.0]).shape
    (2, 24)
    """
    n, x = (np.array(v) for v in np.broadcast_arrays(*checked_extremes(tmin, tmax)))
    if n.ndim == 0:
        n, x = n[None], x[None]
    after = np.concatenate([n[..., 1:], n[..., -1:]], axis=-1)[..., None]
    before_low = np.concatenate([n[..., :1], n[..., :-1]], axis=-1)[..., None]
    before_high = np.concatenate([x[..., :1], x[..., :-1]], axis=-1)[..., None]
    low, high = n[..., None], x[..., None]
    clock = np.arange(24.0)
    if curve == "campbell_norman":
        return campbell_norman(clock, low, high, after, before_high)
    if curve not in ("linvill", "cesaraccio"):
        raise InputError(f"there is no hourly curve '{curve}'; use linvill, cesaraccio or campbell_norman")
    run = linvill if curve == "linvill" else cesaraccio
    rise = np.broadcast_to(np.asarray(sunrise, dtype=np.float64), n.shape)[..., None]
    sets = np.broadcast_to(np.asarray(sunset, dtype=np.float64), n.shape)[..., None]
    # The curves run from sunrise to sunrise, so hours outside are held at the edge and not used.
    today = run(np.maximum(clock, rise), low, high, after, rise, sets)
    night = run(np.clip(clock + 24, rise, rise + 24), before_low, before_high, low, rise, sets)
    return np.where(clock >= rise, today, night)


def _checked_hours(hour: ArrayLike, sunrise: ArrayLike, sunset: ArrayLike) -> tuple[Array, Array, Array]:
    t, rise, sets = (np.asarray(v, dtype=np.float64) for v in (hour, sunrise, sunset))
    if ((rise >= sets) | (sets - rise >= 23)).any():
        raise InputError("sunset must come after sunrise and leave at least an hour of night")
    outside = (t < rise) | (t > rise + 24)
    if outside.any():
        first = float(np.broadcast_to(t, outside.shape)[outside][0])
        raise InputError(f"hour {first:g} lies outside the 24 hours that follow sunrise")
    return t, rise, sets
