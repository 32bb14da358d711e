"""Seasons side by side, and lessons of another climate as dates here, as DataFrames."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from phenology.advice.lesson import Lesson
from phenology.advice.lesson_here import Translation, translate
from phenology.advice.lesson_place import LessonPlace, hemisphere
from phenology.judging.season_errors import season_errors
from phenology.language.vague_dates import parse
from phenology.language.words import find_bloom, find_operation, find_stage
from phenology.model.errors import InputError
from phenology.model.records import Place
from phenology.seasons.compare import compare_seasons, season_frosts
from phenology.seasons.tree_stages import tree_stages, what_followed
from phenology.seasons.trends import garden_trends
from phenology.species.catalogue import neutral_species
from reports.garden.elsewhere_weather import home_place
from reports.notebook.opened import Opened, framed
from reports.notebook.weather import Weather, daily_weather
from reports.views.compare import COLUMNS, course_days, followed_stages
from reports.views.elsewhere_text import COLUMNS as LESSONS


class SeasonFrames(Opened):
    """Frames of seasons beside each other, named and rounded as `flushcast compare --csv` has them."""

    @framed(COLUMNS["warmth"], "a season")
    def seasons(self, seasons: Sequence[int] | None = None) -> Iterable[Any]:
        """How warm seasons were up to the same day of each, today's; the latest six unless given.

        >>> garden.seasons([2024, 2025, 2026])[["season", "degree_days_c", "rank", "days_ahead"]]
           season  degree_days_c  rank  days_ahead
        0    2024          706.9   3.0        -2.0
        1    2025          914.8   1.0        13.3
        2    2026          804.8   2.0         5.2
        """
        return compare_seasons(self.snapshot, seasons).warmth

    @framed(COLUMNS["course"], "a day, up to today in the season under way")
    def days_ahead(self, season: int | None = None) -> Iterable[Any]:
        """A season against the mean of the others, day by day, at the first place.

        >>> garden.days_ahead().tail(2)
             season       date  degree_days_c  days_ahead
        163    2026 2026-06-13          789.6         5.1
        164    2026 2026-06-14          804.8         5.2
        """
        wanted = self.snapshot.season if season is None else season
        return course_days(compare_seasons(self.snapshot, [wanted]), wanted, every=1)

    @framed(COLUMNS["stages"], "a species, flush, stage and season")
    def stages(self, seasons: Sequence[int] | None = None) -> Iterable[Any]:
        """When each species reached each stage, in the same seasons: the middle of what its trees' looks say.

        >>> garden.stages([2025])[["species", "stage", "flush", "date", "degree_days_c"]].head(1)
                    species     stage  flush       date  degree_days_c
        0  Ulmus parvifolia  budbreak      1 2025-04-05          121.7
        """
        return compare_seasons(self.snapshot, seasons).stages

    @framed(COLUMNS["trees"], "a tree, flush, stage and season")
    def tree_stages(self) -> Iterable[Any]:
        """The same tree by tree, of all seasons: stages that looks stand on both sides of.

        >>> garden.tree_stages().query("stage == 'hardened'").groupby("season")["day"].mean().round(1)
        season
        2022    195.2
        2023    206.4
        2024    202.9
        2025    196.7
        2026    149.7
        Name: day, dtype: float64
        """
        return tree_stages(self.snapshot)

    @framed(COLUMNS["frosts"], "a place and season of which anything is known")
    def frosts(self) -> Iterable[Any]:
        """The last frost before each summer and the first after it, at every place; measured days only.

        >>> garden.frosts()[["season", "last_in_spring", "first_in_autumn", "days_between"]].tail(1)
            season last_in_spring first_in_autumn  days_between
        30    2026     2026-03-31             NaT           NaN
        """
        garden = self.snapshot
        known = {garden.calendar.season_of(w.first_day) for w in garden.weather.values()}
        seasons = tuple(range(min(known, default=garden.season), garden.season + 1))
        found = season_frosts(garden, seasons)
        return [f for f in found if f.last is not None or f.first is not None]

    @framed(COLUMNS["followed"], "a species, operation and stage")
    def followed(self, seasons: Iterable[int] | None = None) -> Iterable[Any]:
        """Work of all seasons and what followed: days from work that wakes to each stage of the flush woken.

        >>> garden.followed()[["operation", "works", "stage", "n", "median"]].head(1)
          operation  works     stage  n  median
        0   cutback      7  budbreak  6    21.5
        """
        works = what_followed(self.snapshot, None if seasons is None else set(seasons))
        return followed_stages(works)

    @framed(COLUMNS["trends"], "a thing whose date may move")
    def trends(self) -> Iterable[Any]:
        """How dates have moved over the years; with fewer than ten seasons nothing is said.

        >>> garden.trends()["what"].head(3).tolist()
        ['warmth', 'last frost', 'first frost']
        """
        return garden_trends(self.snapshot)

    @framed(COLUMNS["forecasts"], "a season")
    def season_skill(self, species: str | None = None) -> Iterable[Any]:
        """Forecasts of each past season against what came, each made without that season.

        >>> garden.season_skill("elm")[["season", "median_miss", "median_miss_of_usual_date"]].round(0)
           season  median_miss  median_miss_of_usual_date
        0    2022          8.0                       11.0
        1    2023          3.0                       14.0
        2    2024          4.0                        7.0
        3    2025          8.0                       10.0
        """
        return season_errors(self._past_forecasts(species))


class Elsewhere(Opened):
    """The frame of dates from elsewhere."""

    @framed(LESSONS, "a date and tree")
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
        there, weather, units, latitude
            Name of the place of the lesson, and its daily weather [°C]; a file may be in other `units` ("C",
            "F", "tenths"). With a latitude [degrees] alone the usual warmth of the latitude stands in; with
            weather alone it is 45, on the side of the equator that the weather shows; with neither, `there`
            is a place of this garden.
        dates : date or text, or several
            Such as "5 July" or "early May"; only day and month count. With `from_here` they are mine, and
            become theirs.
        year : int, optional
            The season of the lesson there, when it is known.
        species, operation, stage, flush
            What is meant, without a species an average temperate tree; what the tree was at, such as "firm",
            and of which flush, 1 for that of spring: if these are known; else they are worked out.

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
