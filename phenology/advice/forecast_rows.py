"""What a forecast tells of each tree: one row a flush and stage, and what it rests on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from phenology.advice.adviser import Advice
from phenology.forecasting.arrival import Arrival
from phenology.garden import Garden
from phenology.language.counts import counted
from phenology.model.records import Tree
from phenology.model.season import SeasonCalendar
from phenology.work.last_safe import WorkSeason
from phenology.work.rules import Finding

WEEKLY = timedelta(weeks=8)  # a rhythm of looks without an end in sight goes on so long (ours)

AHEAD_DAYS = 120
"""What lies further ahead needs no look yet (ours)."""

LONG_PAST_DAYS = 120
"""Leaves that nobody saw harden are not looked for any more, so long after they very probably did (ours)."""

NOT_REFINED = "not being refined"

Dates = tuple[date | None, date | None, date | None]
"""Days by which something has come with odds of 1, 5 and 9 in 10; None where those are not reached."""

NEVER: Dates = (None, None, None)


def dates_of(arrival: Arrival, calendar: SeasonCalendar, season: int) -> Dates:
    """The dates between which something arrives."""
    early, middle, late = (
        None if math.isinf(t) else calendar.date(season, t) for t in arrival.quantiles((0.1, 0.5, 0.9))
    )
    return early, middle, late


def shifted(dates: Dates, days: int) -> Dates:
    """Dates moved by some days."""
    early, middle, late = (None if day is None else day + timedelta(days=days) for day in dates)
    return early, middle, late


class Trust(NamedTuple):
    """What a forecast rests on."""

    seasons: int  # seasons of this garden in which the species was seen to take the steps concerned
    # half the width of the range that holds four in five, once the garden has seasons of its own. [days]
    within: float | None
    prior_share: float  # how much of the belief in the species' mean is still the catalogue's

    @property
    def words(self) -> str:
        """As the grower reads it."""
        if self.seasons == 0:
            return "species guess"
        here = f"{counted(self.seasons, 'seasons')} here"
        if self.seasons == 1 or self.within is None:
            return here
        days = max(1, round(self.within))
        return f"{here}, usually within {counted(days, 'days')}"


@dataclass(frozen=True, eq=False, repr=False)
class ForecastRow:
    """One tree, one flush, one stage."""

    tree: Tree
    place: str
    season: int
    flush: int  # its number in the season
    stage: str  # the stage forecast, or `hardened` when that was seen and the work is open
    operation: str | None
    seen: tuple[date | None, date | None]  # last look before it, first look at it
    arrival: Arrival | None  # None where the stage was already seen
    look_on: date
    looks: int  # looks of this species that the forecast rests on
    trust: Trust
    warnings: tuple[str, ...]
    garden: Garden
    advice: Advice | None = None  # on the work that hardening opens, for trees that are being refined
    # False under cover without readings, before a bud break is seen: the weather outside tells when to begin
    # to look, and no date
    dated: bool = True

    def day(self, level: float) -> float | None:
        """Day of the season by which it has come with chance `level`; None beyond 1 - p_not, or undated."""
        if self.arrival is None or not self.dated:
            return None
        t = self.arrival.quantile(level)
        return None if math.isinf(t) else t

    def date_at(self, level: float) -> date | None:
        """The same as a date."""
        t = self.day(level)
        return None if t is None else self.garden.calendar.date(self.season, t)

    @property
    def dates(self) -> Dates:
        """When it comes; the day of the look at which it was seen, where it has."""
        if self.arrival is None:
            return self.seen[1], self.seen[1], self.seen[1]
        return self.date_at(0.1), self.date_at(0.5), self.date_at(0.9)

    @property
    def guess(self) -> bool:
        """Whether the dates rest on the catalogue alone."""
        return self.arrival is not None and self.dated and self.trust.seasons == 0

    @property
    def undated(self) -> bool:
        """Whether only a rhythm of looks is named and no date: under cover without readings."""
        return self.arrival is not None and not self.dated

    @property
    def weekly(self) -> tuple[date, date]:
        """From when to when to look once a week, where no date is given or it is a guess."""
        first = max(self.date_at(0.1) or self.look_on, self.garden.as_of)
        return first, max(self.date_at(0.9) or first + WEEKLY, first)

    @property
    def decides(self) -> bool:
        """Whether a look for the stage decides anything: work to be done, or when the season's days begin."""
        if self.stage == "budbreak":
            return self.garden.aim_of(self.tree) == "refining"
        return self.operation is not None

    @property
    def change_by_look(self) -> float:
        """Chance that a look today changes what is advised, over all that it could show.

        Where a look decides nothing it changes nothing.
        """
        if not self.decides or self.season != self.garden.season:
            return 0.0
        return 1.0 if self.arrival is None else self.arrival.chance_by(self.garden.today)

    @property
    def last_safe(self) -> date | None:
        """The last day on which a cut still ripens; None where no cut is advised or nothing limits it."""
        return self.advice.last_safe if self.advice and self.advice.wakes else None

    @property
    def odds(self) -> tuple[float, float, float] | None:
        """Odds that what a cut wakes ripens, made today, in two weeks, in three; None with a guess."""
        known = self.advice is not None and self.advice.wakes and self.trust.seasons > 0
        return self.advice.odds if self.advice and known else None

    @property
    def refused(self) -> Finding | None:
        """Why the work that hardening opens is not advised; None where it is, or none is wanted."""
        advice = self.advice
        return advice.refused[0] if advice and advice.refused and self.operation is None else None

    @property
    def left(self) -> str:
        """Why nothing is to be done, where no rule stands against it."""
        return (self.advice.does if self.advice else "") or NOT_REFINED

    @property
    def order(self) -> float:
        """For sorting: soonest first."""
        middle = self.day(0.5)
        return -1.0 if self.arrival is None else (math.inf if middle is None else middle)


@dataclass(frozen=True, eq=False, repr=False)
class GardenForecast:
    """All rows of a garden, soonest first, and the weather they rest on."""

    garden: Garden
    rows: tuple[ForecastRow, ...]
    donors: int  # past years of weather behind the coming weeks, 0 where possible ones stand in
    warnings: tuple[str, ...]
    usual_warmth: str = ""  # see `phenology.advice.garden_forecast.usual_warmth_note`
    # the next season's bud break of trees of which nothing of this one lies ahead
    springs: tuple[ForecastRow, ...] = ()
    # how the season ends for each species, as the advice in the rows has it
    seasons: WorkSeason | None = None


def is_past(row: ForecastRow, days: int = 0) -> bool:
    """Whether a stage has very probably come, so many days ago at least."""
    by = row.date_at(0.9)
    return by is not None and by < row.garden.as_of - timedelta(days=days)
