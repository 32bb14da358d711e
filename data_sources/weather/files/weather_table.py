"""A table of temperatures while it is read: its rows, times and temperatures, and what is wrong with them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, tzinfo
from typing import Any

import numpy as np
from numpy.typing import NDArray

from data_sources.tables.cells import decimal_number
from data_sources.tables.dates import order_of
from data_sources.tables.problems import FileQuestion, Problem, TableError
from data_sources.tables.text_table import TextTable
from data_sources.weather.files.columns import unit_in
from data_sources.weather.files.time_stamps import FIGURES, Stamp, day_of, split_stamp, with_clock
from data_sources.weather.store.records import EARLIEST, LATEST
from phenology.language.written_days import DateOrder
from phenology.model.errors import WeatherError
from phenology.weather.series import DailyWeather, WeatherCoverage


@dataclass(frozen=True)
class FileReport:
    """How a weather file was understood."""

    file: str
    shape: str  # "daily table", "thermometer log", "GHCN-Daily" or "NCEI daily summaries"
    units: str  # "C", "F" or "tenths" (of a °C), as stated
    coverage: WeatherCoverage
    columns: Mapping[str, str] = field(default_factory=dict)
    date_order: str | None = None  # order of day and month where dates needed one
    left_out: Mapping[str, int] = field(default_factory=dict)  # values that were there and were not taken
    notes: tuple[str, ...] = ()  # what else the grower should know
    station: str = ""
    attribution: str = ""

    def lines(self) -> list[str]:
        """The report in words, the coverage first."""
        units = {"C": "°C", "F": "°F", "tenths": "tenths of a °C"}[self.units]
        columns = ", ".join(f"{role} from '{name}'" for role, name in self.columns.items() if role != name)
        read = f"read as {self.shape} in {units}" + (f", dates {self.date_order}" if self.date_order else "")
        out = [self.coverage.line(), read + (f"; {columns}" if columns else "")]
        out += [f"left out: {reason} ({count:,})" for reason, count in self.left_out.items() if count]
        return out + list(self.notes)


def middle_notes(weather: DailyWeather) -> tuple[str, ...]:
    """A warning when a day's middle is hotter than any air: the sign of degrees Fahrenheit or full sun."""
    middle = (weather.tmin + weather.tmax) / 2
    hot = np.flatnonzero(middle > 45)
    if not len(hot):
        return ()
    day = weather.first_day.fromordinal(int(weather.ordinals[hot[0]]))
    why = "was it °F, or the sensor in the sun?"
    return (f"check the unit: the middle of {day} is {middle[hot[0]]:.0f} °C ({why})",)


MISSING = frozenset(
    ["na", "n/a", "nan", "null", "none", "-", "--", "---", "----", ".", "m", "missing", "<na>"]
) | {""}
SENTINELS = (-9999, -999, -999.9, -99.9, -99.99, 999, 999.9, 9999, -273.1, -273.15, -127, 3276.7, -3276.8)
TO_CELSIUS = {"F": (32.0, 5 / 9), "tenths": (0.0, 0.1)}  # zero, factor
_NUMBER = re.compile(r"([^°º˚CF]*?)\s*(?:[°º˚]?\s*([CF]))?", re.IGNORECASE)

Values = NDArray[np.float64]


class WeatherFileError(TableError, WeatherError):
    """A weather file that cannot be used as it is; `problems` holds every one found."""


@contextmanager
def weather_errors() -> Iterator[None]:
    """Errors of tables as errors of weather files."""
    try:
        yield
    except TableError as error:
        raise WeatherFileError(error.problems or error.plain, hint=error.hint) from None


@dataclass
class WeatherTable:
    """A table of temperatures, its columns known by role; problems and what is left out gather as it is read.

    A foot without a date (a summary) is no part of it.
    """

    table: TextTable
    at: Mapping[str, int]
    problems: list[Problem] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)
    units_in_cells: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        key = self.at.get("date", self.at.get("year", 0))
        rows = (*self.table.rows, *self.table.ragged)
        last = max((line for line, cells in rows if any(map(str.isdigit, cells[key]))), default=0)
        self.date_column = key
        self.problems += [problem for problem in self.table.problems if (problem.line or 0) <= last]
        self.rows = [(n, tuple(cell.strip() for cell in c)) for n, c in self.table.rows if n <= last]
        if not self.rows and not self.problems:
            raise self.error("has column names and no rows")

    def error(self, words: str, hint: str = "") -> TableError:
        """What is wrong with the whole file."""
        return TableError(f"{self.table.file}: {words}", hint=hint)

    def names(self, *roles: str) -> dict[str, str]:
        """The columns' own names, of the roles that are there."""
        return {role: self.table.headers[self.at[role]] for role in roles if role in self.at}

    def report(self, shape: str, units: str, weather: DailyWeather, *roles: str, **more: Any) -> FileReport:
        """How the table was understood; the roles are those whose columns are told."""
        names, notes = self.names(*roles), (*more.pop("notes", ()), *middle_notes(weather))
        return FileReport(
            self.table.file,
            shape,
            units,
            weather.coverage(),
            names,
            left_out=self.left_out,
            notes=notes,
            **more,
        )

    def refuse(self, *values: Values) -> None:
        """Raise for all problems found, or when none of the rows holds a temperature."""
        if self.problems:
            raise TableError(sorted(self.problems, key=lambda problem: problem.line or 0))
        if not any(np.isfinite(column).any() for column in values):
            raise self.error(f"there is no temperature in any of its {len(self.rows):,} rows")

    def stamps(self, *, with_time: bool) -> list[Stamp]:
        """The date of each row as text; `with_time`, with what a column of times of day holds."""
        roles, joint = (("date",), "") if "date" in self.at else (("year", "month", "day"), "-")
        clock = [self.at["time"]] if with_time and "time" in self.at else []
        return [
            split_stamp(
                " ".join([joint.join(c[self.at[role]] for role in roles), *(c[n] for n in clock)]).strip()
            )
            for _, c in self.rows
        ]

    def times(
        self, order: DateOrder | None, *, with_time: bool, place: tzinfo | None = None
    ) -> tuple[list[datetime | None], DateOrder | None]:
        """Times of all rows, naive or all with their offset, and the order of day and month used, if any was.

        Raises `FileQuestion` if nothing tells the day from the month.
        """
        column = self.table.headers[self.date_column]
        stamps = self.stamps(with_time=with_time)
        dates: dict[str, int] = {}  # each once, with the line it comes first on
        for (line, _), stamp in zip(self.rows, stamps, strict=True):
            dates.setdefault(stamp.date, line)
        if order is None:
            order = order_of(self.table.file, ((line, column, text) for text, line in dates.items()))
        days: dict[str, datetime | None] = {}
        times: list[datetime | None] = []
        for (line, _), stamp in zip(self.rows, stamps, strict=True):
            time, wrong = None, "is no date"
            try:
                if stamp.date not in days:
                    days[stamp.date] = day_of(stamp.date, order)
                time = with_clock(days[stamp.date], stamp, place)
                if time and not EARLIEST <= time.date() <= LATEST:
                    raise ValueError
            except (ValueError, OverflowError):
                wrong = "is not in the calendar"
            if time is None:
                advice = "write a date such as 2026-03-05"
                wrong = f"'{stamp.text}' {wrong}"
                self.problems.append(self.table.problem(line, self.date_column, wrong, advice))
            times.append(time)
        if len({time.tzinfo is None for time in times if time}) > 1:
            raise self.error(f"gives only some times in '{column}' an offset; give it to all or none")
        return times, order if any(map(FIGURES.match, dates)) else None

    def temperatures(self, role: str, faults: Collection[str] = ()) -> Values:
        """A column of temperatures in the file's own unit, NaN where it is blank or holds one of `faults`."""
        at, values = self.at[role], np.full(len(self.rows), np.nan)
        for n, (line, cells) in enumerate(self.rows):
            text = cells[at]
            try:
                value, unit = (None, None) if text.casefold() in faults else read_number(text)
            except ValueError:
                wrong, advice = f"'{text}' is not a number", "write one such as 14.2, or leave it blank"
                self.problems.append(self.table.problem(line, at, wrong, advice))
                continue
            self.units_in_cells |= {unit} if unit else set()
            if value in SENTINELS:
                self.left_out[f"{self.table.headers[at]} {text}, a mark for missing"] += 1
            elif value is not None:
                values[n] = value
        return values

    def units(self, given: str | None, *roles: str) -> str:
        """The unit of the temperatures: from the column names, the cells, the preamble, or the grower.

        Raises `TableError` if the statements contradict each other. Raises `FileQuestion` if nothing states
        it.
        """
        stated = {unit for name in self.names(*roles).values() if (unit := unit_in(name))}
        stated |= self.units_in_cells
        if not stated:
            stated = {unit for line in self.table.preamble if (unit := unit_in(line, bare_letter=False))}
            stated = stated if len(stated) == 1 else set()
        if len(stated) > 1:
            raise self.error("states both °C and °F; bring its temperatures to one unit")
        if given and stated and given not in stated:
            hint = f", which contradicts --units {given}"
            raise self.error(f"says its temperatures are °{stated.pop()}", hint)
        if not given and not stated:
            why = "does not say whether its temperatures are °C or °F; say --units C or --units F"
            raise FileQuestion("units", ("C", "F"), f"{self.table.file}: {why}")
        return given or stated.pop()


def read_number(text: str) -> tuple[float | None, str | None]:
    """A temperature cell: its value (None = missing) and the unit written in it, if any.

    Raises `ValueError` if it is no number.

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


def to_celsius(values: Values, units: str) -> Values:
    """Temperatures in °C; converted ones to a hundredth.

    >>> to_celsius(np.array([50.0]), "F"), to_celsius(np.array([93.0]), "tenths")
    (array([10.]), array([9.3]))
    """
    zero, factor = TO_CELSIUS.get(units, (0.0, 1.0))
    converted: Values = np.round((values - zero) * factor, 2) if units in TO_CELSIUS else values
    return converted
