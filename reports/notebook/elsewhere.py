"""Dates of a lesson from another climate as dates here, as a DataFrame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import pandas as pd

from phenology.language.vague_dates import parse
from phenology.language.words import find_operation
from phenology.model.errors import InputError
from phenology.seasons.translate import ClimateOf, Translation, translate
from reports.garden.elsewhere_weather import weights_of
from reports.notebook.columns import names_columns
from reports.notebook.daily import Weather, daily_weather
from reports.notebook.opened import Opened
from reports.output.elsewhere import columns, elsewhere_table


class Elsewhere(Opened):
    """The frame of dates from elsewhere."""

    @names_columns(columns(dated=True))
    def elsewhere(
        self,
        there: str,
        weather: Weather | None = None,
        dates: str | date | Sequence[str | date] = "5 July",
        *,
        units: str | None = None,
        latitude: float | None = None,
        year: int | None = None,
        from_here: bool = False,
        place: str | None = None,
        species: str | None = None,
        operation: str | None = None,
    ) -> pd.DataFrame:
        """Dates of a lesson from another climate, as dates here, by the warmth that gathers in both.

        Parameters
        ----------
        there : str
            Name of the place of the lesson; without `weather` a place of this garden.
        weather : DataFrame, DailyWeather or path, optional
            Its daily weather [°C]; a file may be in other `units`.
        dates : date or text, or several
            Such as "5 July" or "early May"; only day and month count.
        units : {"C", "F", "tenths"}, optional
            Of a file.
        latitude : float, optional
            Of there, where the weather does not tell the hemisphere. [degrees]
        year : int, optional
            The season of the lesson there, when it is known.
        from_here : bool
            The other way: my dates become theirs.
        place : str, optional
            Which place of the garden is here; the first without one.
        species, operation : str, optional
            What is meant; with both, the garden's own looks weigh the ways of counting warmth.

        Returns
        -------
        DataFrame, one row a date; all dates stand in the season under way of their place
            {columns}

        Raises
        ------
        InputError
            If a date cannot be read, or hardly any warmth has gathered by it.
        WeatherError
            If there is no whole year of weather at either place.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> lesson = garden.elsewhere("A valley", garden.weather()[["tmin", "tmax"]] + 3, "5 July")
        >>> lesson[["due_low", "due", "due_high"]]
             due_low        due   due_high
        0 2026-07-17 2026-07-30 2026-08-13
        """
        home = self._climate(place)
        if weather is None:
            other = self._climate(there)
        else:
            other = ClimateOf.of(there, daily_weather(weather, units=units), latitude)
        latin, work = self._latin(species) or "", find_operation(operation) if operation else ""
        found = weights_of(self.snapshot, latin, work) if latin and work else None
        a, b = (home, other) if from_here else (other, home)
        asked = [dates] if isinstance(dates, str | date) else list(dates)
        rows = [
            translate(a, b, *self._days(one), year=year, weights=found[0] if found else None) for one in asked
        ]
        dated = (self._in_season(row, a, b) for row in rows)
        return elsewhere_table(dated, work, latin, dated=True).as_frame()

    def _climate(self, place: str | None) -> ClimateOf:
        where = self._place(place)
        return ClimateOf.of(where.name, self._series(place), where.latitude)

    def _days(self, asked: str | date) -> tuple[date, date]:
        if isinstance(asked, date):
            return asked, asked
        style = self.settings.date_style.first_weekday
        when = parse(asked, today=self.as_of, order=self.settings.reading_order, first_weekday=style)
        if when.earliest is None or when.latest is None:
            raise InputError(f"'{asked}' is no date to translate; write one such as '5 July' or 'early May'")
        return when.earliest, when.latest

    def _in_season(self, row: Translation, there: ClimateOf, here: ClimateOf) -> Translation:
        """The same with its dates in the season under way of their place."""
        asked = self.snapshot.season - there.calendar.season_of(row.asked_from)
        due = self.snapshot.season - here.years[-1]
        return replace(
            row,
            asked_from=_later(row.asked_from, asked),
            asked_to=_later(row.asked_to, asked),
            due_low=row.due_low and _later(row.due_low, due),
            due=row.due and _later(row.due, due),
            due_high=row.due_high and _later(row.due_high, due),
            same_day_length=_later(row.same_day_length, due),
        )


def _later(day: date, years: int) -> date:
    """The same day of another year; 29 February becomes the 28th where it must."""
    leap = (day.month, day.day) == (2, 29)
    return date(day.year + years, 2, 28) if leap else date(day.year + years, day.month, day.day)
