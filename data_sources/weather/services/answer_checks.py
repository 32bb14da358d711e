"""Checks that every answer passes before anybody believes it: units, numbers, and whether air can be so."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.services.protocol import ServiceError
from phenology.weather.quality import doubtful_days
from phenology.weather.series import DailyWeather

USUAL_RANGE_LIMIT = 30.0  # °C between tmin and tmax, as a median: nowhere on earth; ours
FAR_LIMIT, FAR_SHARE = 60.0, 0.1  # °C either way, and the share of values that far out; ours


def numbers(values: Sequence[Any]) -> NDArray[np.float64]:
    """A JSON column as numbers, null as NaN.

    Raises
    ------
    ServiceError
        If anything in it is no number.

    Examples
    --------
    >>> numbers([1.5, None, 3])
    array([1.5, nan, 3. ])
    """
    for value in values:
        if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
            raise ServiceError("damaged", f"sent '{str(value)[:20]}' where a temperature should stand")
    return np.array([np.nan if value is None else value for value in values], dtype=float)


def celsius(values: NDArray[np.float64], unit: str) -> NDArray[np.float64]:
    """Values in °C from the unit a service states.

    Raises
    ------
    ServiceError
        If the unit is none of a temperature.

    Examples
    --------
    >>> celsius(np.array([50.0]), "°F")
    array([10.])
    """
    plain = unit.strip().lstrip("°").casefold().removeprefix("deg")
    if plain in ("c", "celsius"):
        return values
    if plain in ("f", "fahrenheit"):
        return (values - 32) / 1.8
    raise ServiceError("unbelievable", f"states its temperatures in '{unit}', which is not understood")


def refuse_impossible(tmin: NDArray[np.float64], tmax: NDArray[np.float64]) -> None:
    """Refuse an answer that as a whole cannot be air temperature: tenths of a degree, most often.

    Raises
    ------
    ServiceError
        If the usual day spans more than `USUAL_RANGE_LIMIT`, or too many values are beyond `FAR_LIMIT`.
    """
    spans = (tmax - tmin)[~np.isnan(tmax - tmin)]
    both = np.concatenate((tmin, tmax))
    both = both[~np.isnan(both)]
    if len(both) < 4:
        return
    wide = len(spans) > 1 and float(np.median(spans)) > USUAL_RANGE_LIMIT
    # One wild value among few is a wild value (it is marked), not another unit.
    far = np.abs(both) > FAR_LIMIT
    if wide or (far.sum() > 2 and far.mean() > FAR_SHARE):
        usual = float(np.median(np.abs(both)))
        raise ServiceError(
            "unbelievable",
            f"sent temperatures that are no air (the usual one is {usual:.0f} °C; tenths of a degree?)",
        )


def believable_forecast(weather: DailyWeather) -> tuple[DailyWeather, tuple[str, ...]]:
    """A forecast without its days that are hard to believe: nobody could accept them before they are past."""
    doubts = doubtful_days(weather)
    if not doubts:
        return weather, ()
    low, high = weather.tmin.copy(), weather.tmax.copy()
    for day in doubts:
        low[weather.index(day)] = high[weather.index(day)] = np.nan
    notes = tuple(f"{day} left out of the forecast: {why}" for day, why in doubts.items())
    return DailyWeather(weather.first_day, low, high, weather.source), notes


def days_in_words(days: Sequence[date], limit: int = 3) -> str:
    """
    >>> days_in_words([date(2026, 3, 1), date(2026, 3, 2)])
    '2026-03-01, 2026-03-02'
    """
    shown = ", ".join(str(day) for day in days[:limit])
    return shown + (f" and {len(days) - limit} more" if len(days) > limit else "")
