"""First and last frosts: dates by season, and how likely one has come by a day.

In autumn the p % date is the one before which a temperature that low has already come in p % of years; in
spring the one after which it still comes in p % of years (the convention of the freeze-probability tables of
the United States' climate data centre, as its directory entry words it). The distribution is mixed: a share
of winters without frost, and dates in the others. Winters are searched past new year, from one midsummer to
the next, and days are counted from the season's first day, so that no winter is torn in two.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phenology.model.arrays import Array
from phenology.model.errors import InputError
from phenology.weather.season_weather import SeasonWeather

FREEZE_C = 0.0
METHODS = ("empirical", "weibull", "normal")
KNOWN_SHARE = 0.9  # a winter with fewer known days than this before its frost says nothing (ours)
WINTER_DAYS = 365


@dataclass(frozen=True)
class FreezeOdds:
    """How likely a frost has come by a day: a share of years, and dates in those years.

    Attributes
    ----------
    days : tuple of float
        Day of season of the frost in each year that had one, sorted; past the season's end where it came
        after it.
    years : int
        Years that are known, those without frost included.
    """

    days: tuple[float, ...]
    years: int

    @classmethod
    def of(cls, dates: Sequence[float] | Array) -> FreezeOdds:
        """From one date a year, infinite where no frost came.

        Raises
        ------
        InputError
            If there is no year at all.
        """
        known = np.asarray(dates, dtype=float)
        known = known[~np.isnan(known)]
        if not len(known):
            raise InputError("there is no year of weather to take frost dates from")
        return cls(tuple(float(d) for d in np.sort(known[np.isfinite(known)])), len(known))

    @property
    def share(self) -> float:
        """Share of years in which it freezes at all."""
        return len(self.days) / self.years

    def day(self, probability: float, method: str = "empirical") -> float | None:
        """Day before which a frost has come in that share of all years; None where it is that rare.

        Parameters
        ----------
        probability : float
            Between 0 and 1; in autumn 0.1 is early and 0.9 late.
        method : {"empirical", "weibull", "normal"}
            `empirical`: straight lines between sorted dates. `weibull`: the k-th of n dates stands at
            k / (n + 1). `normal`: mean and standard deviation of the dates.

        Raises
        ------
        InputError
            If the probability lies outside (0, 1) or the method is not one of the three.

        Examples
        --------
        Frost in two years of three:

        >>> odds = FreezeOdds.of([300.0, 310.0, float("inf")])
        >>> odds.day(1 / 3), odds.day(0.9)
        (305.0, None)
        """
        if not 0 < probability < 1:
            raise InputError(f"a probability lies between 0 and 1, not {probability:g}")
        if method not in METHODS:
            raise InputError(f"there is no method '{method}'; it is one of {', '.join(METHODS)}")
        given = probability / self.share if self.days else math.inf
        dates = np.array(self.days)
        if method == "normal":
            if given >= 1 or len(dates) < 2:
                return None
            from statistics import NormalDist

            return float(dates.mean() + dates.std(ddof=1) * NormalDist().inv_cdf(given))
        if method == "weibull":
            at = given * (len(dates) + 1)
            inside = 1 <= at <= len(dates)
            return float(np.interp(at, np.arange(1, len(dates) + 1), dates)) if inside else None
        return float(np.quantile(dates, given)) if given <= 1 else None

    def chance_by(self, day: float) -> float:
        """Share of all years in which a frost has come by the end of a day."""
        return float(np.searchsorted(np.array(self.days), day, side="right")) / self.years


def midsummer(record: SeasonWeather) -> int:
    """Day of season that is usually warmest; frosts are searched from one of these to the next.

    Where the usual year is nearly flat it may fall anywhere; it is then the season's middle.
    """
    usual = record.normals.tmin + record.normals.tmax
    warmest = int(np.argmax(usual)) + 1
    return warmest if 120 <= warmest <= 280 else 190


def autumn_frosts(record: SeasonWeather, threshold: float, season: int) -> list[float]:
    """First frosts in the climate of a season, as `first_frosts` has them, one a winter that may come.

    Winters that are known, or those of `SeasonWeather.possible` where too few are.
    """
    if record.possible is None:
        return list(first_frosts(record, threshold, today=season).values())
    summer = midsummer(record)
    found = (_first_at_or_below(low[summer - 1 :], threshold) for low in record.possible.tmin)
    return [math.inf if days is None else summer + days for days in found]


def spring_frosts(record: SeasonWeather, threshold: float, season: int) -> list[float]:
    """Last frosts in the climate of a season, as `last_frosts` has them, one a spring that may come."""
    if record.possible is None:
        return list(last_frosts(record, threshold, today=season).values())
    summer = midsummer(record)
    found = (_first_at_or_below(low[: summer - 1][::-1], threshold) for low in record.possible.tmin)
    return [-math.inf if days is None else summer - 1 - days for days in found]


def first_frosts(
    record: SeasonWeather, threshold: float = FREEZE_C, *, today: int | None = None
) -> dict[int, float]:
    """The first frost after each summer.

    Parameters
    ----------
    record : SeasonWeather
    threshold : float
        A night at or below it is a frost. [degC]
    today : int, optional
        A season: past winters are first brought to its climate by the record's warming trend.

    Returns
    -------
    dict
        For each season whose winter is known: day of that season, past its end where the frost came after
        new year, infinite where none came until the next midsummer.
    """
    return _searched(record, threshold, today, backwards=False)


def last_frosts(
    record: SeasonWeather, threshold: float = FREEZE_C, *, today: int | None = None
) -> dict[int, float]:
    """The last frost before each summer, as `first_frosts`.

    Days may be 0 or less where the last frost fell before the season began; minus infinity: none since the
    summer before.
    """
    return _searched(record, threshold, today, backwards=True)


def _searched(
    record: SeasonWeather, threshold: float, today: int | None, *, backwards: bool
) -> dict[int, float]:
    summer = midsummer(record)
    lengths = [record.calendar.length(s) for s in record.seasons]
    starts = np.concatenate([[0], np.cumsum(lengths)])
    line = np.concatenate([record.tmin[i, :n] for i, n in enumerate(lengths)])
    if today is not None:
        warmer = [record.normals.trend * (today - s) for s in record.seasons]
        line = line + np.repeat(warmer, lengths)
    found: dict[int, float] = {}
    for i, season in enumerate(record.seasons):
        middle = int(starts[i]) + summer - 1  # index of the warmest day
        if backwards:
            winter = line[max(0, middle - WINTER_DAYS) : max(0, middle)][::-1]
        else:
            winter = line[middle : middle + WINTER_DAYS]
        day = _first_at_or_below(winter, threshold)
        if day is None:
            continue
        found[season] = summer - 1 - day if backwards else summer + day
    return found


def _first_at_or_below(winter: Array, threshold: float) -> float | None:
    """Days into a winter at which it first freezes; infinite: never; None: too little is known."""
    frozen = np.flatnonzero(winter <= threshold)
    until = int(frozen[0]) if len(frozen) else WINTER_DAYS
    known = np.isfinite(winter[:until]).sum()
    if known < KNOWN_SHARE * until:
        return None
    return float(until) if len(frozen) else math.inf
