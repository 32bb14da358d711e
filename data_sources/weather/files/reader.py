"""Read any weather file a grower may hold: daily tables, thermometer logs, station records.

Nothing is guessed: the unit and the order of day and month are stated in the file, by the caller, or asked
(`FileQuestion`). A file is taken whole or not at all; everything wrong with it is said at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path

from data_sources.tables.text_table import read_text, split_table
from data_sources.weather.files.columns import find_columns, looks_like_header
from data_sources.weather.files.daily import is_ghcn, read_daily, read_ghcn
from data_sources.weather.files.logger import Clock, read_log
from data_sources.weather.files.time_stamps import several_a_day
from data_sources.weather.files.weather_table import FileReport, WeatherTable, weather_errors
from phenology.language.written_days import DateOrder
from phenology.weather.series import DailyWeather


@weather_errors()
def read_weather_file(
    path: Path | str,
    *,
    units: str | None = None,
    date_order: DateOrder | None = None,
    columns: Mapping[str, str] | None = None,
    source: str | None = None,
    timezone: str | None = None,
    clock: Clock | None = None,
    today: date | None = None,
    text: str | None = None,
) -> tuple[DailyWeather, FileReport]:
    """Read a weather file into daily extremes in °C.

    Parameters
    ----------
    path : path-like
        A CSV in any usual dialect (also gzip), a GHCN-Daily .dly or by-station file.
    units : {"C", "F", "tenths"}, optional
        Unit of the temperatures, where the file does not state it; "tenths" of a °C.
    date_order : {"day-first", "month-first"}, optional
        Where "03/04/2026" is not settled by the file itself.
    columns : mapping of role to column name, optional
        Roles are date, time, tmin, tmax, temp; where the names do not tell.
    source : {"bench", "station", "model"}, optional
        What the values count as; default: bench for a thermometer's log, else station.
    timezone : str, optional
        IANA zone of the place: needed to make local days of a log kept in UTC or in standard time.
    clock : {"local", "standard", "utc"}, optional
        What a log's clock showed, where the file does not tell.
    today : date, optional
        The measured row of this day in a daily table is left out: the day is not over.
    text : str, optional
        What the file holds, where it was sent or typed; the path then only names it.

    Returns
    -------
    weather : DailyWeather
        Blank or unusable days are NaN.
    report : FileReport
        How the file was understood, what was left out.

    Raises
    ------
    WeatherFileError
        With file, line, column, what was read and what to write, for everything that is wrong.
    FileQuestion
        If only the grower can tell.
    """
    path = Path(path)
    text = _one_sign(read_text(path) if text is None else text)
    columns = {role: _one_sign(name) for role, name in columns.items()} if columns else columns
    if is_ghcn(text):
        return read_ghcn(path, text, source=source or "station")
    table = split_table(path.name, text, lambda cells: looks_like_header(cells, columns))
    weather = WeatherTable(table, find_columns(table, columns))
    if {"tmin", "tmax"} <= set(weather.at) and not several_a_day(weather.stamps(with_time=True)):
        return read_daily(
            weather, units=units, date_order=date_order, source=source or "station", today=today
        )
    return read_log(
        weather, units=units, date_order=date_order, source=source or "bench", timezone=timezone, clock=clock
    )


def _one_sign(text: str) -> str:
    """A text with the single characters for degrees of a scale written as two."""
    return text.replace("℃", "°C").replace("℉", "°F")
