"""What daily tables and logs have in common: their rows, their times, their unit."""

from __future__ import annotations

import numpy as np

from data_sources.weather.files.columns import Columns, unit_in
from data_sources.weather.files.problems import Problem, WeatherFileError, WeatherFileQuestion
from data_sources.weather.files.text import Table
from data_sources.weather.files.values import DateOrder, Stamps, read_stamps
from phenology.weather.series import DailyWeather

TO_CELSIUS = {"C": (1.0, 0.0), "F": (5 / 9, 32.0), "tenths": (0.1, 0.0)}  # factor, zero
Rows = list[tuple[int, tuple[str, ...]]]


def to_celsius(value: float, units: str) -> float:
    """A temperature in °C, to a hundredth.

    >>> to_celsius(50.0, "F"), to_celsius(93.0, "tenths")
    (10.0, 9.3)
    """
    factor, zero = TO_CELSIUS[units]
    return round((value - zero) * factor, 2)


def units_of(table: Table, names: list[str], given: str | None, in_cells: set[str]) -> str:
    """The unit of the temperatures: from the column names, the cells, the preamble, or the grower.

    Raises
    ------
    WeatherFileError
        If the statements contradict each other.
    WeatherFileQuestion
        If nothing states it.
    """
    stated = {unit for name in names if (unit := unit_in(name))} | in_cells
    if not stated:
        stated = {unit for line in table.preamble if (unit := unit_in(line, bare_letter=False))}
        stated = stated if len(stated) == 1 else set()
    if len(stated) > 1:
        raise WeatherFileError(table.path, "states both °C and °F; bring its temperatures to one unit")
    if not given and not stated:
        raise WeatherFileQuestion(
            table.path,
            "units",
            ("C", "F"),
            "does not say whether its temperatures are °C or °F; say --units C or --units F",
        )
    if given and stated and given not in stated:
        raise WeatherFileError(
            table.path, f"says its temperatures are °{stated.pop()}, which contradicts --units {given}"
        )
    return given or stated.pop()


def whole_rows(table: Table, found: Columns, problems: list[Problem]) -> Rows:
    """Rows as wide as the header; a foot without a date (a summary) is left off."""
    rows: Rows = []
    width = len(table.header)
    key = found.at.get("date", found.at.get("year", 0))
    last = max(
        (i for i, (_, c) in enumerate(table.rows) if key < len(c) and any(map(str.isdigit, c[key]))),
        default=-1,
    )
    for line, cells in table.rows[: last + 1]:
        if any(cells[width:]):
            advice = "if commas are decimal points, put semicolons between the columns"
            problems.append(Problem(line, "", f"{len(cells)} cells where the header has {width}", advice))
            continue
        rows.append((line, cells[:width] + ("",) * (width - len(cells))))
    if not rows and not problems:
        raise WeatherFileError(table.path, "has column names and no rows")
    return rows


def read_times(
    table: Table, found: Columns, rows: Rows, order: DateOrder | None, *, with_time: bool = True
) -> Stamps:
    """The dates of the rows; `with_time`, a column of times of day is read as well.

    Raises
    ------
    WeatherFileQuestion
        If nothing tells the day from the month.
    """
    if "date" in found.at:
        parts, column = (
            [found.at[r] for r in ("date", "time")[: 1 + with_time] if r in found.at],
            found.names["date"],
        )
        texts = [(line, " ".join(cells[at] for at in parts).strip()) for line, cells in rows]
    else:
        parts, column = [found.at[r] for r in ("year", "month", "day")], "year, month, day"
        texts = [(line, "-".join(cells[at] for at in parts)) for line, cells in rows]
        if with_time and "time" in found.at:
            clock = found.at["time"]
            texts = [
                (line, f"{text} {cells[clock]}") for (line, text), (_, cells) in zip(texts, rows, strict=True)
            ]
    stamps = read_stamps(texts, column, order)
    if stamps.ambiguous:
        raise _date_question(table, texts[0][1])
    zoned = {time.tzinfo is not None for time in stamps.times if time}
    if len(zoned) > 1:
        raise WeatherFileError(
            table.path, f"gives only some times in '{column}' an offset; give it to all or none"
        )
    return stamps


def _date_question(table: Table, example: str) -> WeatherFileQuestion:
    """The question which of day and month comes first."""
    return WeatherFileQuestion(
        table.path,
        "date_order",
        ("day-first", "month-first"),
        f"'{example}' may have the day or the month first and no later date tells; "
        "say --date-order day-first or --date-order month-first",
    )


def middle_notes(weather: DailyWeather) -> list[str]:
    """A warning when a day's middle is hotter than any air: the sign of degrees Fahrenheit or full sun."""
    middle = (weather.tmin + weather.tmax) / 2
    hot = np.flatnonzero(middle > 45)
    if not len(hot):
        return []
    day = weather.first_day.fromordinal(int(weather.ordinals[hot[0]]))
    return [
        f"check the unit: the middle of {day} is {middle[hot[0]]:.0f} °C "
        "(was it °F, or the sensor in the sun?)"
    ]
