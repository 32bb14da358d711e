"""What daily tables and logs have in common: their rows, the temperatures in them, and the unit of these."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from contextlib import contextmanager

import numpy as np
from numpy.typing import NDArray

from data_sources.tables.cells import decimal_number
from data_sources.tables.problems import FileQuestion, Problem, TableError
from data_sources.tables.text_table import TextTable
from data_sources.weather.files.columns import Columns, unit_in
from phenology.model.errors import WeatherError
from phenology.weather.series import DailyWeather

MISSING = frozenset(
    ("", "na", "n/a", "nan", "null", "none", "-", "--", "---", "----", ".", "m", "missing", "<na>")
)
SENTINELS = (-9999, -999, -999.9, -99.9, -99.99, 999, 999.9, 9999, -273.1, -273.15, -127, 3276.7, -3276.8)
TO_CELSIUS = {"F": (32.0, 5 / 9), "tenths": (0.0, 0.1)}  # zero, factor

_NUMBER = re.compile(r"([^°º˚CF]*?)\s*(?:[°º˚]?\s*([CF]))?", re.IGNORECASE)

Rows = list[tuple[int, tuple[str, ...]]]
Values = NDArray[np.float64]


class WeatherFileError(TableError, WeatherError):
    """A weather file that cannot be used as it is; `problems` holds every one found."""


@contextmanager
def weather_errors() -> Iterator[None]:
    """Errors of tables as errors of weather files."""
    try:
        yield
    except TableError as error:
        raise WeatherFileError(error.problems or str(error)) from None


def whole_rows(table: TextTable, found: Columns, problems: list[Problem]) -> Rows:
    """The rows down to the last with a date; a foot below them (a summary) is left off."""
    key = found.at.get("date", found.at.get("year", 0))
    dated = [line for line, cells in table.rows if any(map(str.isdigit, cells[key]))]
    last = max([*dated, *(p.line or 0 for p in table.problems if not dated)], default=0)
    problems += [p for p in table.problems if (p.line or 0) <= last]
    rows = [(line, tuple(c.strip() for c in cells)) for line, cells in table.rows if line <= last]
    if not rows and not problems:
        raise TableError(f"{table.file}: has column names and no rows")
    return rows


def read_number(text: str) -> tuple[float | None, str | None]:
    """A temperature cell: its value (None = missing) and the unit written in it, if any.

    Raises
    ------
    ValueError
        If it is no number.

    Examples
    --------
    >>> read_number("9,3"), read_number("−4.5 °C"), read_number("---"), read_number("48F")
    ((9.3, None), (-4.5, 'C'), (None, None), (48.0, 'F'))
    """
    if text.casefold() in MISSING:
        return None, None
    match = _NUMBER.fullmatch(text)
    if match is None:
        raise ValueError(text)
    return decimal_number(match[1]), match[2].upper() if match[2] else None


def read_temperatures(
    table: TextTable,
    rows: Rows,
    at: int,
    problems: list[Problem],
    left_out: Counter[str],
    faults: Collection[str] = (),
) -> tuple[Values, set[str]]:
    """A column of temperatures in the file's own unit, NaN where there is none, and units that cells state.

    Cells that hold one of `faults` count as blank.
    """
    values, units, name = np.full(len(rows), np.nan), set(), table.headers[at]
    for n, (line, cells) in enumerate(rows):
        text = cells[at]
        try:
            value, unit = (None, None) if text.casefold() in faults else read_number(text)
        except ValueError:
            wrong, advice = f"'{text}' is not a number", "write one such as 14.2, or leave it blank"
            problems.append(table.problem(line, at, wrong, advice))
            continue
        if unit is not None:
            units.add(unit)
        if value in SENTINELS:
            left_out[f"{name} {text}, a mark for missing"] += 1
        elif value is not None:
            values[n] = value
    return values, units


def to_celsius(values: Values, units: str) -> Values:
    """Temperatures in °C; converted ones to a hundredth.

    >>> to_celsius(np.array([50.0]), "F"), to_celsius(np.array([93.0]), "tenths")
    (array([10.]), array([9.3]))
    """
    if units not in TO_CELSIUS:
        return values
    zero, factor = TO_CELSIUS[units]
    converted: Values = np.round((values - zero) * factor, 2)
    return converted


def units_of(table: TextTable, columns: Sequence[int], given: str | None, in_cells: set[str]) -> str:
    """The unit of the temperatures: from the column names, the cells, the preamble, or the grower.

    Raises
    ------
    TableError
        If the statements contradict each other.
    FileQuestion
        If nothing states it.
    """
    stated = {unit for at in columns if (unit := unit_in(table.headers[at]))} | in_cells
    if not stated:
        stated = {unit for line in table.preamble if (unit := unit_in(line, bare_letter=False))}
        stated = stated if len(stated) == 1 else set()
    if len(stated) > 1:
        raise TableError(f"{table.file}: states both °C and °F; bring its temperatures to one unit")
    if not given and not stated:
        advice = "does not say whether its temperatures are °C or °F; say --units C or --units F"
        raise FileQuestion("units", ("C", "F"), f"{table.file}: {advice}")
    if given and stated and given not in stated:
        raise TableError(
            f"{table.file}: says its temperatures are °{stated.pop()}, which contradicts --units {given}"
        )
    return given or stated.pop()


def refuse(table: TextTable, problems: Sequence[Problem], *values: Values) -> None:
    """Raise for all problems of a file, or when none of its rows holds a temperature."""
    if problems:
        raise TableError(sorted(problems, key=lambda p: p.line or 0))
    if not any(np.isfinite(column).any() for column in values):
        raise TableError(f"{table.file}: there is no temperature in any of its {len(values[0]):,} rows")


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
