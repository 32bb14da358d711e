"""Dates from elsewhere: what is done there on a day is due here when as much heat has gathered.

Both places' heat is counted from the start of their own season (1 January in the north, 1 July in the south)
under every heat clock, in every year that is known there against every year known here. A pair of years and
a clock give one day; all of them together give the date and its range. No journal is needed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from phenology.heat.clocks import CALENDAR_SHARE, HEAT_CLOCKS, accumulate
from phenology.language.date_style import short_date
from phenology.model.arrays import Array
from phenology.model.errors import InputError, WeatherError
from phenology.model.season import SeasonCalendar
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather

LEVELS = (0.1, 0.5, 0.9)
KNOWN_DAYS = 330  # a year with fewer known days says too little (ours)
LEAST_HEAT = 2.0  # less heat than this by a date, in days at 18 degC, cannot be matched (ours)
FEW_YEARS = 5  # with fewer years at either place the range is called too narrow (ours)
LATE_DAY = 244  # from 1 September (1 March in the south) day length leads more than heat (ours)
SWING = 4.0  # a yearly swing smaller than this does not tell the hemisphere [degC] (ours)
POINTS = 5  # a vague date of a lesson is read at this many days


class TooLittleHeat(InputError):
    """Hardly any heat has gathered by a date, so that there is nothing to match."""


@dataclass(frozen=True, eq=False)
class ClimateOf:
    """A place as a translation sees it.

    Attributes
    ----------
    name : str
    record : SeasonWeather
        Its weather by seasons of its own hemisphere.
    """

    name: str
    record: SeasonWeather

    @classmethod
    def of(cls, name: str, weather: DailyWeather, latitude: float | None = None) -> ClimateOf:
        """Cut a place's weather into its seasons.

        Parameters
        ----------
        name : str
        weather : DailyWeather
        latitude : float, optional
            Decides the hemisphere where the weather itself does not tell. [degrees]

        Raises
        ------
        InputError
            If neither latitude nor weather tells the hemisphere, or they contradict each other.
        """
        shown = hemisphere(weather)
        if shown is None and latitude is None:
            raise InputError(
                f"the weather of {name} does not tell its hemisphere; give its latitude with --lat"
            )
        if shown is not None and latitude is not None and shown * latitude < 0:
            raise InputError(
                f"{name} is given as {'north' if latitude > 0 else 'south'} of the equator, but its weather "
                "is that of the other side: check the file, or the latitude"
            )
        side = shown if latitude is None else latitude
        assert side is not None
        return cls(name, SeasonWeather.cut(weather, SeasonCalendar.for_latitude(side)))

    @property
    def calendar(self) -> SeasonCalendar:
        """Its seasons."""
        return self.record.calendar

    @cached_property
    def years(self) -> tuple[int, ...]:
        """Seasons known well enough to count."""
        known = (np.isfinite(self.record.tmin) & np.isfinite(self.record.tmax)).sum(1)
        return tuple(
            s for s, days in zip(self.record.seasons, known.tolist(), strict=True) if days >= KNOWN_DAYS
        )

    @cached_property
    def heat(self) -> tuple[Array, ...]:
        """For each year, readings of the heat clocks by the end of each day; shape (clocks, days + 1)."""
        if not self.years:
            raise WeatherError(f"there is no whole year of weather for {self.name}; add one year at least")
        return tuple(accumulate(*self.record.filled(s)[:2], HEAT_CLOCKS).sums for s in self.years)

    def day_of(self, when: date, season: int) -> int:
        """The day of a season on which a day and month fall."""
        leap = (when.month, when.day) == (2, 29)  # which few years have: the last of February stands for it
        return self.calendar.same_day(when.replace(day=28) if leap else when, season)


@dataclass(frozen=True)
class Translation:
    """A date there as a date here.

    Attributes
    ----------
    there, here : str
        Names of the places.
    asked_from, asked_to : datetime.date
        The date asked for; two days where it was vague.
    due_low, due, due_high : datetime.date or None
        Due here: the day by which one pair of years and clocks in ten, in two, nine in ten have it; None
        where it does not come within the season here. Their year is only a label.
    never_share : float
        Share of years here in which so much heat does not come.
    years_there, years_here : int
    same_day_length : datetime.date
        The date asked for, moved by half a year between hemispheres: what day length would say.
    late : bool
        Whether it is so late in the season that day length and frost lead more than heat.
    short_records : tuple of (name of place, years)
        Places with so few years of weather that the range is too narrow.
    """

    there: str
    here: str
    asked_from: date
    asked_to: date
    due_low: date | None
    due: date | None
    due_high: date | None
    never_share: float
    years_there: int
    years_here: int
    same_day_length: date
    late: bool = False
    short_records: tuple[tuple[str, int], ...] = ()


def translate(
    there: ClimateOf,
    here: ClimateOf,
    first: date,
    last: date | None = None,
    *,
    year: int | None = None,
    weights: Mapping[str, float] | None = None,
) -> Translation:
    """Say when what is done elsewhere on a date is due here.

    Parameters
    ----------
    there, here : ClimateOf
    first, last : datetime.date
        The date, or the days between which it lies; only day and month count.
    year : int, optional
        The season of the lesson there, when it is known: then only that year is matched.
    weights : mapping of clock name to weight, optional
        How much each heat clock is believed, say as the looks of a garden have weighed them; all alike if
        not given.

    Raises
    ------
    WeatherError
        If a place has no whole year of weather, or not the year asked for.
    TooLittleHeat
        If hardly any heat has gathered there by that date, so that there is nothing to match.

    Examples
    --------
    A place where every day is twice as far above 10 degC takes half as long, by that clock:

    >>> from phenology.heat.clocks import HEAT_CLOCKS
    >>> cool, warm = (DailyWeather(date(2023, 1, 1), [c] * 365, [c] * 365, "station") for c in (15.0, 20.0))
    >>> due = translate(
    ...     ClimateOf.of("hill", cool, 50), ClimateOf.of("valley", warm, 50), date(2023, 7, 19),
    ...     weights={"heat above 10": 1.0})
    >>> due.due  # day 200 there; the calendar's 2 % make it 102 rather than 100
    datetime.date(2023, 4, 12)
    """
    last = first if last is None else last
    if year is not None and year not in there.years:
        raise WeatherError(
            f"there is no whole season {there.calendar.label(year)} of weather for {there.name}; it has "
            f"{', '.join(map(there.calendar.label, there.years)) or 'none'}"
        )
    clock_weight = _weights(weights)
    _ = there.heat, here.heat  # both must know a whole year
    seasons = [year] if year is not None else list(there.years)
    gathered = _gathered(there, seasons, first, last)  # (days asked for x years, clocks)
    _check_enough(gathered, there.name, first)
    days = np.stack([_days_until(heat, gathered) for heat in here.heat])  # (years here, ..., clocks)
    flat = np.moveaxis(days, -1, 0).reshape(len(HEAT_CLOCKS), -1)
    spread = np.repeat(clock_weight / flat.shape[1], flat.shape[1])
    season = here.years[-1]
    low, middle, high = (
        None if math.isinf(t) else here.calendar.date(season, t)
        for t in _weighted_quantiles(flat.ravel(), spread, LEVELS)
    )
    asked = there.day_of(first, there.years[-1])
    latest = max(asked, 0 if middle is None else here.calendar.day(middle))
    years = {} if year is not None else {there.name: len(seasons)}  # one year asked for is no short record
    return Translation(
        there.name,
        here.name,
        first,
        last,
        low,
        middle,
        high,
        float(spread[np.isinf(flat.ravel())].sum()),
        len(seasons),
        len(here.years),
        here.calendar.date(season, asked),
        latest >= LATE_DAY,
        tuple((name, n) for name, n in (years | {here.name: len(here.years)}).items() if n < FEW_YEARS),
    )


def hemisphere(weather: DailyWeather) -> float | None:
    """A latitude of the hemisphere that the weather shows: 45 where July is warmer than January, else -45.

    None where the year swings too little to tell, or summer or winter is not known.
    """
    months = np.array([
        date.fromordinal(weather.first_day.toordinal() + i).month for i in range(len(weather.tmin))
    ])  # fmt: skip
    mean = (weather.tmin + weather.tmax) / 2
    summer, winter = (mean[np.isin(months, m) & np.isfinite(mean)] for m in ((6, 7, 8), (12, 1, 2)))
    if len(summer) and len(winter) and abs(summer.mean() - winter.mean()) >= SWING:
        return math.copysign(45.0, float(summer.mean() - winter.mean()))
    return None


def _weights(weights: Mapping[str, float] | None) -> Array:
    if weights is None:
        return np.full(len(HEAT_CLOCKS), 1 / len(HEAT_CLOCKS))
    found = np.array([weights.get(clock.name, 0.0) for clock in HEAT_CLOCKS])
    if not found.sum() > 0:
        raise InputError("at least one heat clock needs a weight above 0")
    return np.asarray(found / found.sum())


def _gathered(there: ClimateOf, seasons: Sequence[int], first: date, last: date) -> Array:
    """Heat gathered there by the date in each season; shape (dates x seasons, clocks)."""
    width = max(0, (last - first).days)
    asked = {first + timedelta(days=round(width * k / (POINTS - 1))) for k in range(POINTS)}
    rows = []
    for season in seasons:
        heat = there.heat[there.years.index(season)]
        rows += [heat[:, there.day_of(day, season)] for day in sorted(asked)]
    return np.array(rows)


def _check_enough(gathered: Array, name: str, when: date) -> None:
    # what the calendar part of the clocks adds is no heat
    if float(np.median(gathered)) < LEAST_HEAT + CALENDAR_SHARE * 366:
        raise TooLittleHeat(
            f"hardly any warmth has gathered in {name} by {short_date(when)}: winter work goes by the "
            "state of the buds, not by a date from elsewhere"
        )


def _days_until(heat: Array, gathered: Array) -> Array:
    """Day of the season on which each clock reads what was gathered; infinite where it never does."""
    out = np.empty_like(gathered)
    day = np.arange(heat.shape[1], dtype=float)
    for c, sums in enumerate(heat):
        out[:, c] = np.interp(gathered[:, c], sums, day, right=np.inf)
    return out


def _weighted_quantiles(values: Array, weights: Array, levels: Sequence[float]) -> list[float]:
    values, weights = values[weights > 0], weights[weights > 0]
    order = np.argsort(values)
    reached = np.cumsum(weights[order]) - weights[order] / 2
    return [
        float(values[order][min(int(np.searchsorted(reached, level)), len(values) - 1)]) for level in levels
    ]
