"""Traces that run on past the season's end, each with the frost that ends it.

A season's traces stop on its last day; a first frost may come after it. The winter is then the one that
followed the same past year, brought to today's climate as the trace itself is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import ThermalTime, accumulate
from phenology.model.arrays import Array
from phenology.weather.frost import midsummer
from phenology.weather.possible_years import BEYOND_DAYS
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.traces import FEWEST, SHIFT_DAYS, Traces

KNOWN_DAYS = 120  # a winter known for fewer is replaced by the one before the same summer (ours)
WEEK = 7


@dataclass(frozen=True)
class LateSeason:
    """What the end of a season looks like, trace by trace.

    Attributes
    ----------
    thermal_time : ThermalTime
        The clocks, to the season's end or past it where that is needed.
    frost : ndarray, shape (traces,)
        Day of season of the first frost, infinite where none comes before the next midsummer.
    cool : ndarray, shape (traces,)
        First day after midsummer whose week of nights is cool on average; infinite where none is.
    summer : int
        Day of season that is usually warmest.
    """

    thermal_time: ThermalTime
    frost: Array
    cool: Array
    summer: int

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
    """Follow traces to their first frost.

    Parameters
    ----------
    traces : Traces
    thermal_time : ThermalTime
        The clocks over the same traces.
    record : SeasonWeather
        What the traces were drawn from.
    frost_c, cool_night_c : float
        See `Limits`. [degC]
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
