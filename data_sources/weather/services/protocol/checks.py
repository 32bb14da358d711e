"""From an answer's values to days that may be believed: units, numbers, days of hours, whether air can be so.

Days are a frame indexed by local day (`DatetimeIndex`) with the columns ``tmin`` and ``tmax`` [°C] and, where
they differ in kind, ``source``. They are made from hours in UTC by the true zone: services that make days
themselves use today's distance from Greenwich for the whole series, so that every day beyond the next clock
change begins an hour off. Whatever is wrong is raised as `ServiceError`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from data_sources.weather.services.transport.faults import ServiceError
from data_sources.weather.store.records import EARLIEST, LATEST
from phenology.weather.quality import doubtful_days, without_crossed_days
from phenology.weather.series import DailyWeather

USUAL_RANGE_LIMIT = 30.0  # °C between tmin and tmax, as a median: nowhere on earth; ours
FAR_LIMIT, FAR_SHARE = 60.0, 0.1  # °C either way, and the share of values that far out; ours


def numbers(values: Sequence[Any]) -> NDArray[np.float64]:
    """A JSON column as numbers, null as NaN. Raises `ServiceError` if anything in it is no number.

    Examples
    --------
    >>> numbers([1.5, None, 3])
    array([1.5, nan, 3. ])
    """
    for value in values:
        if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
            raise ServiceError("damaged", f"sent '{str(value)[:20]}' where a temperature should stand")
    column = np.array(values, dtype=float)
    if np.isinf(column).any():
        raise ServiceError("damaged", "sent a temperature without end")
    return column


def celsius(values: NDArray[np.float64], unit: str) -> NDArray[np.float64]:
    """Values in °C from the unit a service states.

    Raises `ServiceError` if the unit is none of a temperature.

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


def believable(days: pd.DataFrame, whose: str = "") -> pd.DataFrame:
    """The days in order, if none comes twice and they are air as a whole: often they are tenths of a degree.

    Raises `ServiceError` if a day is out of all time or comes twice, the usual day spans more than
    `USUAL_RANGE_LIMIT`, or too many values are beyond `FAR_LIMIT`.
    """
    if days.index.hasnans or (len(days) and not in_time(days.index.min(), days.index.max())):
        raise ServiceError("damaged", f"sent days out of all time{whose}")
    if not days.index.is_monotonic_increasing:
        days = days.sort_index()
    if not days.index.is_unique:
        again = days.index[days.index.duplicated()][0]
        raise ServiceError("damaged", f"sent {again:%Y-%m-%d} twice{whose}")
    values = days[["tmin", "tmax"]].to_numpy(dtype=float)
    if np.isinf(values).any():
        raise ServiceError("damaged", f"sent a temperature without end{whose}")
    spans, both = values[:, 1] - values[:, 0], np.abs(values[~np.isnan(values)])
    spans = spans[~np.isnan(spans)]
    wide = len(spans) > 1 and np.median(spans) > USUAL_RANGE_LIMIT
    # One wild value among few is a wild value (it is marked), not another unit.
    far = both > FAR_LIMIT
    if len(both) >= 4 and (wide or (far.sum() > 2 and far.mean() > FAR_SHARE)):
        usual = f"the usual one is {np.median(both):.0f} °C; tenths of a degree?"
        raise ServiceError("unbelievable", f"sent temperatures that are no air ({usual})")
    return days


def in_time(first: pd.Timestamp, last: pd.Timestamp) -> bool:
    """Whether days or instants lie between `EARLIEST` and `LATEST`."""
    return EARLIEST.year <= first.year and last.year <= LATEST.year


def as_weather(days: pd.DataFrame, source: str = "station") -> tuple[DailyWeather | None, int]:
    """A series of days, unknown ones cut off its ends, and how many days have a minimum above their maximum.

    Those, and days that are absent in between, are unknown. None where nothing is known.
    """
    days = days.dropna(subset=["tmin", "tmax"], how="all")
    if days.empty:
        return None, 0
    days = days.asfreq("D")
    names = days["source"].fillna(source).to_numpy(dtype="U8") if "source" in days else source
    weather, crossed = without_crossed_days(days.index[0].date(), days["tmin"], days["tmax"], names)
    return weather, len(crossed)


def refuse_old_issue(issued: date, today: date) -> None:
    """Refuse a forecast that was made on another day: what it says of days gone by is no weather.

    Raises `ServiceError`.
    """
    if abs((issued - today).days) > 1:  # the service's day may be another than the spot's
        raise ServiceError("unbelievable", f"sent a forecast of {issued} (is the computer's clock right?)")


def ahead_from(
    weather: DailyWeather | None, issued: date, last: date
) -> tuple[DailyWeather, tuple[str, ...]]:
    """The days of a forecast from its issue on, as far as was asked, and what was left out.

    Days that are hard to believe are: nobody could accept them before they are past. Raises `ServiceError` if
    no whole day is left.
    """
    ahead = weather.between(issued, last) if weather is not None else None
    if ahead is None or not ahead.known.any():
        raise ServiceError("damaged", "sent no whole day from today on (is the computer's clock right?)")
    doubts = doubtful_days(ahead)
    good = ahead.only(~np.isin(ahead.ordinals, [day.toordinal() for day in doubts]))
    if not good.known.any():
        why = next(iter(doubts.values()), "no whole day")
        raise ServiceError("unbelievable", f"sent a forecast that cannot be ({why})")
    return good, tuple(f"{day} left out of the forecast: {why}" for day, why in doubts.items())


YEAR = 365.2425 * 86400  # s
HOURS_ABSENT = 2  # of a day's hours that may be unknown and leave it a day; ours


def instants(times: list[int]) -> pd.DatetimeIndex:
    """Seconds since 1970 UTC as an index.

    Raises `ServiceError` if they do not go forward, or lie out of all time.
    """
    if times and not EARLIEST.year - 1970 <= min(times) / YEAR <= max(times) / YEAR <= LATEST.year - 1970:
        raise ServiceError("damaged", "sent times out of all time (milliseconds?)")
    index = pd.DatetimeIndex(pd.to_datetime(times, unit="s", utc=True))
    if not index.is_monotonic_increasing or not index.is_unique:
        raise ServiceError("damaged", "sent hours twice or out of order")
    return index


def local_day(values: pd.Series[float] | pd.DataFrame, zone: str) -> pd.DatetimeIndex:
    """The local day of each of some values that are indexed by UTC."""
    return pd.DatetimeIndex(values.index).tz_convert(zone).tz_localize(None).normalize()


def days_from_hours(air: pd.Series[float], zone: str) -> pd.DataFrame:
    """Daily extremes of air temperatures on full hours in UTC, NaN or absent where unknown.

    Days of the zone are unknown where more than `HOURS_ABSENT` of their 23 to 25 hours are.

    Examples
    --------
    >>> hours = pd.date_range("2026-03-28 23:00", periods=23, freq="h", tz="UTC")  # 29 March in Berlin
    >>> days_from_hours(pd.Series(range(23), hours, float), "Europe/Berlin")
                tmin  tmax
    2026-03-29   0.0  22.0
    """
    known = air.dropna()
    if known.empty:
        return pd.DataFrame(columns=["tmin", "tmax"], index=pd.DatetimeIndex([]), dtype=float)
    day = pd.Timedelta(hours=26)  # longer than any
    every_hour = known.reindex(pd.date_range(known.index[0] - day, known.index[-1] + day, freq="h"))
    days = every_hour.groupby(local_day(every_hour, zone)).agg(["min", "max", "count", "size"])
    whole = (days["count"] >= days["size"] - HOURS_ABSENT) & (days["count"] > 0)
    return days.loc[days["count"] > 0, ["min", "max"]].where(whole).set_axis(["tmin", "tmax"], axis="columns")
