"""What a forecast tells of each tree: one row a flush and stage, and what it rests on."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta

from phenology.advice.adviser import Advice
from phenology.forecasting.arrival import Arrival
from phenology.garden import Garden
from phenology.model.records import Tree
from phenology.work.last_safe import WorkSeason
from phenology.work.rules import Finding

WEEKLY = timedelta(weeks=8)  # a rhythm of looks without an end in sight goes on so long (ours)

AHEAD_DAYS = 120
"""What lies further ahead needs no look yet (ours)."""

LONG_PAST_DAYS = 120
"""Leaves that nobody saw harden are not looked for any more, so long after they very probably did (ours)."""


@dataclass(frozen=True)
class Trust:
    """What a forecast rests on.

    Attributes
    ----------
    seasons : int
        Seasons of this garden in which the species was seen to take the steps concerned.
    within : float or None
        Half the width of the range that holds four in five, once the garden has seasons of its own. [days]
    prior_share : float
        How much of the belief in the species' mean is still the catalogue's.
    """

    seasons: int
    within: float | None
    prior_share: float

    @property
    def words(self) -> str:
        """As the grower reads it."""
        if self.seasons == 0:
            return "species guess"
        here = f"{self.seasons} {'season' if self.seasons == 1 else 'seasons'} here"
        if self.seasons == 1 or self.within is None:
            return here
        days = max(1, round(self.within))
        return f"{here}, usually within {days} {'day' if days == 1 else 'days'}"


@dataclass(frozen=True)
class ForecastRow:
    """One tree, one flush, one stage.

    Attributes
    ----------
    tree : Tree
    place : str
    season, flush : int
        Season label, and number of the flush in it.
    stage : str
        The stage forecast, or `hardened` when that was seen and the work is open.
    seen : (date or None, date or None)
        Last look before it, first look at it.
    arrival : Arrival or None
        None where the stage was already seen.
    looks : int
        Looks of this species that the forecast rests on.
    advice : Advice or None
        On the work that hardening opens, for trees that are being refined.
    dated : bool
        False under cover without readings, before a bud break is seen: the weather outside tells when to
        begin to look, and no date.
    """

    tree: Tree
    species_name: str
    place: str
    season: int
    flush: int
    stage: str
    operation: str | None
    seen: tuple[date | None, date | None]
    arrival: Arrival | None
    look_on: date
    looks: int
    trust: Trust
    warnings: tuple[str, ...]
    garden: Garden = field(repr=False, compare=False)
    advice: Advice | None = None
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
    def order(self) -> float:
        """For sorting: soonest first."""
        middle = self.day(0.5)
        return -1.0 if self.arrival is None else (math.inf if middle is None else middle)


@dataclass(frozen=True)
class GardenForecast:
    """All rows of a garden, soonest first, and the weather they rest on.

    Attributes
    ----------
    donors : int
        Past years of weather behind the coming weeks, 0 where possible ones stand in.
    warnings : tuple of str
    usual_warmth : str
        See `phenology.advice.usual_warmth`.
    springs : tuple of ForecastRow
        The next season's bud break of trees of which nothing of this one lies ahead.
    seasons : WorkSeason, optional
        How the season ends for each species, as the advice in the rows has it.
    """

    garden: Garden
    rows: tuple[ForecastRow, ...]
    donors: int
    warnings: tuple[str, ...]
    usual_warmth: str = ""
    springs: tuple[ForecastRow, ...] = ()
    seasons: WorkSeason | None = field(default=None, compare=False, repr=False)


def is_past(row: ForecastRow, days: int = 0) -> bool:
    """Whether a stage has very probably come, so many days ago at least."""
    by = row.date_at(0.9)
    return by is not None and by < row.garden.as_of - timedelta(days=days)
