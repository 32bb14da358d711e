"""First and last frosts: dates by season, and how likely one has come by a day.

In autumn the p % date is the one before which a temperature that low has already come in p % of years; in
spring the one after which it still comes in p % of years (the convention of the freeze-probability tables of
the United States' climate data centre, as its directory entry words it). The distribution is mixed: a share
of winters without frost, and dates in the others. Winters are searched past new year, from one midsummer to
the next, and days are counted from the season's first day, so that no winter is torn in two.

A season's traces stop on its last day, and a first frost may come after it: the winter is then the one that
followed the same past year, brought to today's climate as the trace itself is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import ThermalTime, accumulate
from phenology.model.arrays import Array
from phenology.model.errors import InputError
from phenology.weather.normals import BEYOND_DAYS
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.traces import FEWEST, SHIFT_DAYS, Traces

FREEZE_C = 0.0
METHODS = ("empirical", "weibull", "normal")
KNOWN_SHARE = 0.9  # a winter with fewer known days than this before its frost says nothing (ours)
WINTER_DAYS = 365


@dataclass(frozen=True, eq=False, repr=False)
class FreezeOdds:
    """How likely a frost has come by a day: a share of years, and dates in those years."""

    # day of season of the frost in each year that had one, sorted; past the season's end where it came
    # after it
    days: tuple[float, ...]
    years: int  # years that are known, those without frost included

    @classmethod
    def of(cls, dates: Sequence[float] | Array) -> FreezeOdds:
        """From one date a year, infinite where no frost came.

        Raises `InputError` if there is no year at all.
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
        if given > 1:
            return None
        return float(np.interp(given * (len(dates) - 1), np.arange(len(dates)), dates))

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
    """The first frost after each summer: a night at or below a threshold. [degC]

    For each season whose winter is known the day of that season, past its end where the frost came after new
    year, infinite where none came until the next midsummer. With a season `today`, past winters are first
    brought to its climate by the record's warming trend.
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


KNOWN_DAYS = 120  # a winter known for fewer is replaced by the one before the same summer (ours)
WEEK = 7


class LateSeason(NamedTuple):
    """What the end of a season looks like, trace by trace."""

    thermal_time: ThermalTime  # the clocks, to the season's end or past it where that is needed
    # day of season of the first frost, infinite where none comes before the next midsummer; shape (traces,)
    frost: Array
    # first day after midsummer whose week of nights is cool on average; infinite where none is; shape
    # (traces,)
    cool: Array
    summer: int  # day of season that is usually warmest

    @property
    def frost_free(self) -> bool:
        """Whether most traces see no frost."""
        return bool(np.isinf(self.frost).mean() > 0.5)

    def end(self) -> Array:
        """The day that ends growth on each trace: its frost, cool nights where it never freezes."""
        return np.where(np.isfinite(self.frost), self.frost, self.cool)


def late_season(
    traces: Traces, thermal_time: ThermalTime, record: SeasonWeather, frost_c: float, cool_night_c: float
) -> LateSeason:
    """Follow traces, the clocks over them and the record they were drawn from to their first frost.

    Frosts and cool nights are as in `Limits`. [degC]
    """
    summer = midsummer(record)
    low = traces.tmin
    frost = _first(low <= frost_c, summer)
    if np.isinf(frost).any():
        more_low, more_high = _beyond(traces, record)
        light = record.daylight(traces.season + 1, BEYOND_DAYS)
        after = accumulate(more_low, more_high, hours=light).sums[..., 1:]
        thermal_time = ThermalTime(
            np.concatenate([thermal_time.sums, thermal_time.sums[..., -1:] + after], axis=-1)
        )
        low = np.concatenate([low, more_low], axis=1)
        frost = _first(low <= frost_c, summer)
        cool = _first(_week_mean(low) < cool_night_c, summer)
    else:
        cool = np.full(len(low), np.inf)  # nobody asks: it freezes first
    return LateSeason(thermal_time, frost, cool, summer)


def _first(hit: NDArray[np.bool_], summer: int) -> Array:
    """Day of season of the first hit after midsummer in each row."""
    later = hit[:, summer:]
    return np.where(later.any(1), summer + 1.0 + later.argmax(1), np.inf)


def _week_mean(low: Array) -> Array:
    """Mean of the seven nights up to each day; the first days have none."""
    total = np.concatenate([np.zeros((len(low), 1)), np.cumsum(low, axis=1)], axis=1)
    out = np.full(low.shape, np.inf)
    out[:, WEEK - 1 :] = (total[:, WEEK:] - total[:, :-WEEK]) / WEEK
    return out


def _beyond(traces: Traces, record: SeasonWeather) -> tuple[Array, Array]:
    """The days after the season's end, from the winter that followed each trace's past year."""
    if record.possible is not None:
        after = slice(len(traces.tmin[0]), len(traces.tmin[0]) + BEYOND_DAYS)
        return record.possible.tmin[:, after], record.possible.tmax[:, after]
    count: dict[int, int] = {}
    rounds = []
    for donor in traces.donors:
        rounds.append(count.get(donor, 0))
        count[donor] = rounds[-1] + 1
    # with few past years traces come shift by shift, from early to late; else a year may serve in any order
    sides = max(rounds) // 2
    days = SHIFT_DAYS if len(count) < FEWEST else 0
    low, high = [], []
    for donor, turn in zip(traces.donors, rounds, strict=True):
        follows = donor + 1 if _known(record, donor + 1) else donor
        past_low, past_high, _ = record.filled(follows)
        index = np.clip(np.arange(BEYOND_DAYS) + days * (turn - sides), 0, len(past_low) - 1)
        warmed = record.normals.trend * (traces.season + 1 - follows)
        low.append(past_low[index] + warmed)
        high.append(past_high[index] + warmed)
    return np.minimum(low, high), np.array(high)


def _known(record: SeasonWeather, season: int) -> bool:
    if season not in record.seasons:
        return False
    row = record.tmin[record.row(season), :KNOWN_DAYS]
    return bool(np.isfinite(row).mean() > 0.8)
