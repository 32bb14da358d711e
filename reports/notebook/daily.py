"""Daily weather in whatever shape it is at hand."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TypeAlias

import pandas as pd

from phenology.model.errors import WeatherError
from phenology.weather.series import DailyWeather

Weather: TypeAlias = pd.DataFrame | DailyWeather | str | os.PathLike[str]
"""A daily frame, a series of ours, or a file."""


def daily_weather(weather: Weather, *, units: str | None = None) -> DailyWeather:
    """Daily weather from a frame, a series or a file.

    Parameters
    ----------
    weather : DataFrame, DailyWeather or path
        A frame has ``tmin`` and ``tmax`` [°C], and its days as a `DatetimeIndex` or in a column ``date``;
        without a column ``source`` it counts as a station's.
    units : {"C", "F", "tenths"}, optional
        Of a file; guessed never, so that a file which does not say needs it.

    Raises
    ------
    WeatherError
        As `phenology.check_weather_frame`, or if a file cannot be read.

    Examples
    --------
    >>> days = pd.DataFrame({"date": ["2026-06-13", "2026-06-14"], "tmin": [9.0, 11.0], "tmax": [21.0, 24.0]})
    >>> daily_weather(days).last_day
    datetime.date(2026, 6, 14)
    """
    if isinstance(weather, DailyWeather):
        return weather
    if not isinstance(weather, pd.DataFrame):
        from data_sources.weather.files.reader import read_weather_file

        return read_weather_file(Path(weather), units=units)[0]
    frame = weather
    if "date" in frame.columns:
        try:
            days = pd.to_datetime(frame["date"])
        except (ValueError, TypeError) as error:
            raise WeatherError(f"the column 'date' holds something that is no date: {error}") from None
        frame = frame.drop(columns="date").set_axis(pd.DatetimeIndex(days, name="date"))
    elif isinstance(frame.index, pd.DatetimeIndex):
        frame = frame.rename_axis("date")
    if "source" not in frame.columns:
        frame = frame.assign(source="station")
    return DailyWeather.from_frame(frame)
