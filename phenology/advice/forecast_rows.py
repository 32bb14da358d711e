"""What a forecast tells of each tree: one row a flush and stage, and what it rests on."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date

from phenology.advice.adviser import Advice
from phenology.forecasting.arrival import LEVELS, Arrival
from phenology.garden import Garden
from phenology.model.records import Tree


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
    advice: Advice | None = None
    dated: bool = True

    def day(self, level: float) -> float | None:
        """Day of the season by which it has come with chance `level`; None beyond 1 - p_not, or undated."""
        if self.arrival is None or not self.dated:
            return None
        t = self.arrival.quantile(level)
        return None if math.isinf(t) else t

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
    """

    garden: Garden
    rows: tuple[ForecastRow, ...]
    donors: int
    warnings: tuple[str, ...]
    usual_warmth: str = ""


def quantile_dates(row: ForecastRow, garden: Garden) -> dict[str, date | None]:
    """The row's quantiles as dates, named p10 ... p90."""
    out: dict[str, date | None] = {}
    for level in LEVELS:
        t = row.day(level)
        out[f"p{round(level * 100)}"] = None if t is None else garden.calendar.date(row.season, t)
    return out
