"""Seasons side by side: how warm each has been, how far ahead of usual, and when each stage came."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from phenology.garden import Garden
from phenology.learning.transitions import TARGETS
from phenology.model.arrays import Array
from phenology.model.errors import InputError
from phenology.model.records import Tree
from phenology.seasons.season_frosts import SeasonFrost, season_frosts
from phenology.seasons.season_heat import (
    BASE_C,
    KNOWN_DAYS,
    cumulative_heat,
    days_ahead,
    known_days,
)
from phenology.seasons.tree_stages import TreeStage, loose_stages, tree_stages
from phenology.weather.season_weather import SeasonWeather

__all__ = [
    "BASE_C",
    "Comparison",
    "SeasonHeat",
    "StageDate",
    "compare_seasons",
    "cumulative_heat",
    "stage_day",
]


FILLED_SHARE = 0.1  # of the days to date; of a season that lacks more no warmth is told (ours)


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
        Days ahead (+) of or behind (-) the usual season; None with too few seasons to say, or at a time of
        year too cool for days to mean anything.
    filled : int
        Days filled because the weather lacks them.
    rank_ever, ever : int
        The same rank among all seasons known to this day, and how many they are.
    """

    season: int
    through: int
    heat: float
    rank: int
    ahead: float | None
    filled: int
    rank_ever: int = 0
    ever: int = 0

    @property
    def told(self) -> bool:
        """Whether enough of it was measured for its warmth and rank to say anything."""
        return self.filled <= FILLED_SHARE * self.through


@dataclass(frozen=True)
class StageDate:
    """When a species reached a stage in one season: the middle of what its trees' looks say.

    `ahead`, `heat`, `since` and `own_heat` are as in `TreeStage`, the mean of the trees that have them: a
    tree that is always early, and new this season, does not make the season early.
    """

    species: str
    flush: int
    stage: str
    season: int
    day: float
    trees: int
    ahead: float | None
    heat: float | None = None
    since: str = ""
    own_heat: float | None = None


@dataclass(frozen=True)
class Comparison:
    """Seasons side by side.

    Attributes
    ----------
    garden : Garden
    seasons : tuple of int
    place : str
        Whose warmth is told: the garden's first place.
    heat : tuple of SeasonHeat
    stages : tuple of StageDate
        By species.
    trees : tuple of TreeStage
        By tree.
    loose : tuple of (Tree, season)
        One for each stage that looks bracket too loosely to date it.
    frosts : tuple of SeasonFrost
    courses : mapping of season to (heat, ahead)
        Degree-days by the end of each day, and days ahead of usual; up to today in the season under way.
    """

    garden: Garden
    seasons: tuple[int, ...]
    place: str
    heat: tuple[SeasonHeat, ...]
    stages: tuple[StageDate, ...]
    trees: tuple[TreeStage, ...] = ()
    frosts: tuple[SeasonFrost, ...] = ()
    courses: Mapping[int, tuple[Array, Array]] = field(default_factory=dict)
    loose: tuple[tuple[Tree, int], ...] = ()

    @property
    def usual_known(self) -> bool:
        """Whether there are seasons enough to say what is usual, on some day."""
        return any(np.isfinite(ahead).any() for _, ahead in self.courses.values())

    def ahead_on(self, season: int, day: int) -> float | None:
        """Days ahead of usual at the end of a day; None where it cannot be said or has not come."""
        ahead = self.courses[season][1]
        return float(ahead[day]) if day < len(ahead) and np.isfinite(ahead[day]) else None


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
    with_weather = [s for s in record.seasons if s <= garden.season and known_days(record, s) > 0]
    wanted = tuple(sorted(seasons)) if seasons else tuple(with_weather[-6:])
    for season in wanted:
        if season not in with_weather:
            have = ", ".join(garden.calendar.label(s) for s in with_weather)
            raise InputError(
                f"there is no weather for season {garden.calendar.label(season)}; there is for {have}"
            )
    curves = {s: cumulative_heat(record, s) for s in with_weather}
    courses = {s: _course(s, curves, record, garden) for s in wanted}
    seen = tree_stages(garden)
    return Comparison(
        garden,
        wanted,
        place.name,
        tuple(_heat(s, wanted, curves, courses, record, garden) for s in wanted),
        _stages(garden, wanted, seen),
        tuple(one for one in seen if one.season in wanted),
        tuple(season_frosts(garden, wanted)),
        courses,
        tuple(one for one in loose_stages(garden) if one[1] in wanted),
    )


def _course(
    season: int, curves: Mapping[int, Array], record: SeasonWeather, garden: Garden
) -> tuple[Array, Array]:
    others = [
        curve
        for s, curve in curves.items()
        if s not in (season, garden.season) and known_days(record, s) >= KNOWN_DAYS
    ]
    heat = curves[season][: garden.today + 1] if season == garden.season else curves[season]
    row, days = record.row(season), len(heat) - 1
    lacking = np.isnan(record.tmin[row, :days]) | np.isnan(record.tmax[row, :days])
    told = np.concatenate([[True], np.cumsum(lacking) <= FILLED_SHARE * np.arange(1, days + 1)])
    return heat, np.where(told, days_ahead(heat, others), np.nan)


def _heat(
    season: int,
    wanted: Sequence[int],
    curves: Mapping[int, Array],
    courses: Mapping[int, tuple[Array, Array]],
    record: SeasonWeather,
    garden: Garden,
) -> SeasonHeat:
    through = garden.today
    heats = {s: float(curve[min(through, len(curve) - 1)]) for s, curve in curves.items()}
    known = {s for s in curves if _filled(record, s, through) <= FILLED_SHARE * through}
    row, ahead = heats[season], courses[season][1]
    now = float(ahead[min(through, len(ahead) - 1)])
    return SeasonHeat(
        season,
        through,
        row,
        1 + sum(heats[s] > row for s in wanted),
        now if np.isfinite(now) else None,
        _filled(record, season, through),
        1 + sum(heats[s] > row for s in known),
        len(known),
    )


def _filled(record: SeasonWeather, season: int, through: int) -> int:
    row = record.row(season)
    through = min(through, record.calendar.length(season))
    return int((np.isnan(record.tmin[row, :through]) | np.isnan(record.tmax[row, :through])).sum())


def _stages(garden: Garden, wanted: Sequence[int], seen: Sequence[TreeStage]) -> tuple[StageDate, ...]:
    groups: dict[tuple[str, int, str], dict[int, list[TreeStage]]] = defaultdict(lambda: defaultdict(list))
    for one in seen:
        groups[one.tree.species, one.flush, one.stage][one.season].append(one)
    out = []
    for (species, flush, stage), by_season in groups.items():
        for season, trees in sorted(by_season.items()):
            if season in wanted:
                since = Counter(one.since for one in trees).most_common(1)[0][0]
                out.append(
                    StageDate(
                        species,
                        flush,
                        stage,
                        season,
                        float(np.mean([one.day for one in trees])),
                        len(trees),
                        _mean(one.ahead for one in trees),
                        _mean(one.heat for one in trees),
                        since,
                        _mean(one.own_heat for one in trees if one.since == since),
                    )
                )
    out.sort(key=lambda d: (garden.species[d.species].name if d.species in garden.species else d.species,
                            d.flush, TARGETS.index(d.stage), d.season))  # fmt: skip
    return tuple(out)


def _mean(values: Iterable[float | None]) -> float | None:
    known = [v for v in values if v is not None]
    return float(np.mean(known)) if known else None


def stage_day(stage: StageDate, garden: Garden) -> date:
    """The date of a stage's middle."""
    return garden.calendar.date(stage.season, stage.day)
