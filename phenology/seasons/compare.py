"""Seasons side by side: how warm each has been, how far ahead of usual, and when each stage came."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from phenology.errors import InputError
from phenology.garden import Garden
from phenology.heat.thermal_time import degree_days
from phenology.learning.transitions import TARGETS
from phenology.records.flush_history import histories
from phenology.weather.season_weather import SeasonWeather

Array = NDArray[np.float64]

BASE_C = 5.0
"""Base of the degree-days shown; a common choice for temperate trees (common practice, no source)."""

FEWEST_USUAL = 3  # seasons without which nothing is called usual (ours)


@dataclass(frozen=True)
class SeasonHeat:
    """One season's warmth up to a day of it.

    Attributes
    ----------
    season : int
    through : int
        Last day of the season counted.
    heat : float
        Degree-days above `BASE_C`, single sine. [degC d]
    rank : int
        1 for the warmest of the seasons shown by that day.
    ahead : float or None
        Days ahead (+) of or behind (-) the usual season; None with too few seasons to say.
    filled : int
        Days filled because the weather lacks them.
    """

    season: int
    through: int
    heat: float
    rank: int
    ahead: float | None
    filled: int


@dataclass(frozen=True)
class StageDate:
    """When a species reached a stage in one season: the middle of what its trees' looks say."""

    species: str
    flush: int
    stage: str
    season: int
    day: float
    trees: int
    ahead: float | None


@dataclass(frozen=True)
class Comparison:
    """Seasons side by side."""

    garden: Garden
    seasons: tuple[int, ...]
    place: str
    heat: tuple[SeasonHeat, ...]
    stages: tuple[StageDate, ...]


def compare_seasons(garden: Garden, seasons: Sequence[int] | None = None) -> Comparison:
    """Compare seasons up to the same day of each: today's.

    Parameters
    ----------
    garden : Garden
    seasons : sequence of int, optional
        Seasons to show; by default the one under way and up to five before it.

    Raises
    ------
    InputError
        If a season asked for has no weather.
    """
    garden.check_weather_is_fresh()
    place = garden.places[0]
    record = garden.record_at(((0, place.id),))
    with_weather = [s for s in record.seasons if s <= garden.season and _known(record, s) > 0]
    wanted = tuple(sorted(seasons)) if seasons else tuple(with_weather[-6:])
    for season in wanted:
        if season not in with_weather:
            have = ", ".join(garden.calendar.label(s) for s in with_weather)
            raise InputError(
                f"there is no weather for season {garden.calendar.label(season)}; there is for {have}"
            )
    return Comparison(
        garden,
        wanted,
        place.name,
        _heat(record, wanted, with_weather, garden),
        _stages(garden, wanted),
    )


def cumulative_heat(record: SeasonWeather, season: int) -> Array:
    """Degree-days above `BASE_C` by the end of each day of a season, gaps filled; entry 0 is 0. [degC d]"""
    low, high, _ = record.filled(season)
    return np.concatenate([[0.0], np.cumsum(degree_days(low, high, BASE_C))])


def _heat(
    record: SeasonWeather, wanted: Sequence[int], with_weather: Sequence[int], garden: Garden
) -> tuple[SeasonHeat, ...]:
    through = garden.today
    curves = {s: cumulative_heat(record, s) for s in with_weather}
    heats = {s: float(curves[s][min(through, len(curves[s]) - 1)]) for s in wanted}
    out = []
    for season in wanted:
        others = [
            curves[s] for s in with_weather if s not in (season, garden.season) and _known(record, s) > 300
        ]
        row = record.row(season)
        filled = int((np.isnan(record.tmin[row, :through]) | np.isnan(record.tmax[row, :through])).sum())
        rank = 1 + sum(heat > heats[season] for heat in heats.values())
        out.append(
            SeasonHeat(season, through, heats[season], rank, _ahead(heats[season], through, others), filled)
        )
    return tuple(out)


def _ahead(heat: float, through: int, others: Sequence[Array]) -> float | None:
    """Days by which a season leads the mean of the others, read along the season."""
    if len(others) < FEWEST_USUAL:
        return None
    usual = np.mean([curve[:366] for curve in others], axis=0)
    if heat <= 0 or usual[min(through, 365)] <= 0:
        return None
    return float(np.interp(heat, usual, np.arange(len(usual)))) - through


def _known(record: SeasonWeather, season: int) -> int:
    row = record.row(season)
    return int((np.isfinite(record.tmin[row]) & np.isfinite(record.tmax[row])).sum())


def _stages(garden: Garden, wanted: Sequence[int]) -> tuple[StageDate, ...]:
    middles: dict[tuple[str, int, str], dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
    for h in histories(garden):
        for stage in TARGETS:
            after, by = h.came.get(stage, (-math.inf, math.inf))
            if math.isfinite(after) and math.isfinite(by):
                middles[h.tree.species, h.number, stage][h.flush.season].append((after + by) / 2)
    out = []
    for (species, flush, stage), by_season in middles.items():
        means = {s: float(np.mean(days)) for s, days in by_season.items()}
        for season, day in sorted(means.items()):
            if season in wanted:
                others = [d for s, d in means.items() if s != season]
                ahead = float(np.mean(others)) - day if len(others) >= FEWEST_USUAL else None
                out.append(StageDate(species, flush, stage, season, day, len(by_season[season]), ahead))
    out.sort(key=lambda d: (garden.species[d.species].name if d.species in garden.species else d.species,
                            d.flush, TARGETS.index(d.stage), d.season))  # fmt: skip
    return tuple(out)


def stage_day(stage: StageDate, garden: Garden) -> date:
    """The date of a stage's middle."""
    return garden.calendar.date(stage.season, stage.day)
