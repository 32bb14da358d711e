"""Open-Meteo: what its three services (forecast, archive, ensemble) have in common.

Asked are hours in GMT, never days: its own days use the present distance from Greenwich all year round,
and are an hour off beyond the next clock change.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.services.answer_checks import celsius, numbers
from data_sources.weather.services.http_faults import json_object
from data_sources.weather.services.local_days import DaysFromHours, days_from_hours
from data_sources.weather.services.protocol import ServiceError, Spot
from data_sources.weather.services.settings import WeatherSettings

PROVIDER = "Open-Meteo"
ATTRIBUTION = (
    "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0, changed: daily extremes computed"
)
TERMS = "free for non-commercial use"
VARIABLE = "temperature_2m"


class Hours(NamedTuple):
    """Hourly series of an answer: moments [s since 1970 UTC], columns by name [°C], height used [m]."""

    moments: NDArray[np.int64]
    columns: dict[str, NDArray[np.float64]]
    elevation: float | None


def query(spot: Spot, settings: WeatherSettings, **more: str) -> dict[str, str]:
    """The parameters common to all: place, height (it then corrects for height itself), hours in GMT."""
    asked = {
        "latitude": f"{spot.latitude:g}",
        "longitude": f"{spot.longitude:g}",
        "hourly": VARIABLE,
        "timezone": "GMT",
        "timeformat": "unixtime",
        "temperature_unit": "celsius",
        **more,
    }
    if spot.elevation is not None:
        asked["elevation"] = f"{spot.elevation:.0f}"
    if settings.api_key:
        asked["apikey"] = settings.api_key
    return asked


def read_hours(body: bytes) -> Hours:
    """The hourly temperatures of an answer.

    Raises
    ------
    ServiceError
        If the answer is no answer, or of another shape than documented.
    """
    answer = json_object(body)
    try:
        hourly, units = answer["hourly"], answer["hourly_units"]
        stamps = hourly["time"]
        if str(units.get("time")) != "unixtime" or not all(type(t) is int for t in stamps):
            raise ServiceError("damaged", "sent times of another shape than was asked for")
        unit = str(units.get(VARIABLE, ""))
        columns = {
            name: celsius(numbers(values), str(units.get(name, unit)))
            for name, values in hourly.items()
            if name.startswith(VARIABLE)
        }
    except (KeyError, TypeError, AttributeError):
        raise ServiceError("damaged", "sent an answer of another shape than it documents") from None
    if not columns or any(len(column) != len(stamps) for column in columns.values()):
        raise ServiceError("damaged", "sent columns that are not as long as each other")
    moments = np.array(stamps, dtype=np.int64)
    if (np.diff(moments) <= 0).any():
        raise ServiceError("damaged", "sent hours twice or out of order")
    return Hours(moments, columns, _height(answer))


def to_days(hours: Hours, column: str, spot: Spot, source: str) -> DaysFromHours:
    """The local days of one column."""
    return days_from_hours(hours.moments, hours.columns[column], spot.timezone, source)


def _height(answer: dict[str, Any]) -> float | None:
    height = answer.get("elevation")
    known = isinstance(height, int | float) and not isinstance(height, bool)
    return float(height) if known and height is not None else None
