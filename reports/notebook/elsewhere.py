"""Dates of a lesson from another climate as dates here, as a DataFrame."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date

from phenology.advice.lesson import Lesson
from phenology.advice.lesson_here import Translation, translate
from phenology.advice.lesson_place import LessonPlace, hemisphere
from phenology.language.vague_dates import parse
from phenology.language.words import find_bloom, find_operation, find_stage
from phenology.model.errors import InputError
from phenology.model.records import Place
from phenology.species.catalogue import neutral_species
from reports.garden.elsewhere_weather import home_place
from reports.notebook.framed import framed
from reports.notebook.opened import Opened
from reports.notebook.weather import Weather, daily_weather
from reports.output.elsewhere import COLUMNS


class Elsewhere(Opened):
    """The frame of dates from elsewhere."""

    @framed(COLUMNS, "a date and tree")
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
        stage: str | None = None,
        flush: int | None = None,
    ) -> Iterable[Translation]:
        """Dates of a lesson from another climate as dates here: what a tree was at, and when that comes.

        Parameters
        ----------
        there : str
            Name of the place of the lesson; without `weather` and `latitude` a place of this garden.
        weather : DataFrame, DailyWeather or path, optional
            Its daily weather [°C]; a file may be in other `units`. With a `latitude` alone the usual warmth
            of the latitude stands in.
        dates : date or text, or several
            Such as "5 July" or "early May"; only day and month count.
        units : {"C", "F", "tenths"}, optional
            Of a file.
        latitude : float, optional
            Of there; without it 45, on the side of the equator that the weather shows. [degrees]
        year : int, optional
            The season of the lesson there, when it is known.
        from_here : bool
            The other way: my dates become theirs.
        place : str, optional
            Which place of the garden is here; the first without one.
        species, operation : str, optional
            What is meant; without a species an average temperate tree.
        stage : str, optional
            What the tree was at, such as "firm", if that is known; else it is worked out.
        flush : int, optional
            Of which flush, 1 for that of spring.

        Raises
        ------
        InputError
            If a date cannot be read, or nothing tells where the place lies.
        WeatherError
            If the season of the lesson is not known.

        >>> valley = garden.weather()[["tmin", "tmax"]] + 3
        >>> lesson = garden.elsewhere("A valley", valley, "5 July", species="beech", operation="halving")
        >>> lesson[["flush", "stage", "due_low", "due", "due_high"]]
           flush     stage    due_low        due   due_high
        0      1  hardened 2026-06-12 2026-06-16 2026-06-22
        """
        latin = self._latin(species) or ""
        home = home_place(self.judged, self._place(place), latin)
        if weather is None and latitude is None:
            other = home_place(self.judged, self._place(there), latin)
        else:
            series = None if weather is None else daily_weather(weather, units=units)
            side = latitude if latitude is not None or series is None else hemisphere(series)
            if side is None:
                raise InputError(f"the weather of {there} does not tell its hemisphere; give its latitude")
            spot = Place("there", there, side, 0.0)
            other = LessonPlace.elsewhere(spot, series, self.as_of, self.snapshot.species, latin, home)
        a, b = (home, other) if from_here else (other, home)
        asked = [dates] if isinstance(dates, str | date) else list(dates)
        kind = self.snapshot.species.get(latin) or neutral_species(latin)
        work = find_operation(operation) if operation else ""
        seen = (find_bloom(stage) or find_stage(stage)) if stage else None
        lessons = [Lesson(kind, work, *self._days(one), year, seen, flush) for one in asked]
        return (row for lesson in lessons for row in translate(a, b, lesson))

    def _days(self, asked: str | date) -> tuple[date, date]:
        if isinstance(asked, date):
            return asked, asked
        style = self.settings.date_style.first_weekday
        when = parse(asked, today=self.as_of, order=self.settings.reading_order, first_weekday=style)
        if when.earliest is None or when.latest is None:
            raise InputError(f"'{asked}' is no date to translate; write one such as '5 July' or 'early May'")
        return when.earliest, when.latest
