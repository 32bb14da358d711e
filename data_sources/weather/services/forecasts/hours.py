"""Daily extremes from hourly values, by the local days of a time zone: 23, 24 or 25 hours long.

Services that make days themselves use today's distance from Greenwich for the whole series, so that every
day beyond the next clock change begins an hour off. Hours in UTC and the true zone do not.
"""

from __future__ import annotations

import pandas as pd

from data_sources.weather.services.transport.faults import ServiceError
from data_sources.weather.store.records import EARLIEST, LATEST

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
    """Daily extremes of hourly instants.

    Parameters
    ----------
    air : Series, shape (n,)
        Air temperature on full hours in UTC; NaN or absent where unknown. [°C]
    zone : str
        IANA name of the spot's zone.

    Returns
    -------
    DataFrame
        Columns ``tmin`` and ``tmax`` by local day, unknown where more than `HOURS_ABSENT` of its hours are.

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
