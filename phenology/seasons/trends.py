"""Trends: how many days a decade something has moved, with its interval, or that it cannot be said yet."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from phenology.garden import Garden
from phenology.learning.flush_history import histories
from phenology.learning.transitions import TARGETS
from phenology.seasons.season_heat import heat_course
from phenology.weather.frost import first_frosts, last_frosts

FEWEST_SEASONS = 10
"""Fewer seasons say more about chance than about change (ours)."""

LEVEL = 0.95


@dataclass(frozen=True)
class Trend:
    """How the date of something has moved."""

    # "warmth" (that is usual by today), "half the warmth" (of a usual season), "last frost", "first frost",
    # or a stage of `TARGETS` (first flush)
    what: str
    species: str | None  # Latin name; None for weather
    seasons: int  # how many seasons have it
    first_season: int | None
    last_season: int | None
    # days later (+) or earlier (-) every ten years, and the 95 % interval; None with too few seasons
    days_per_decade: float | None = None
    low95: float | None = None
    high95: float | None = None


def trend_of(what: str, species: str | None, days: Mapping[int, float]) -> Trend:
    """The trend of one date a season.

    Parameters
    ----------
    days : mapping of season to day of season

    Notes
    -----
    Ordinary least squares on the season with Student's t interval, through statsmodels; a season is one
    value, however many trees it had.
    """
    seasons = sorted(s for s, day in days.items() if math.isfinite(day))
    span = (len(seasons), min(seasons, default=None), max(seasons, default=None))
    if len(seasons) < FEWEST_SEASONS:
        return Trend(what, species, *span)
    import statsmodels.api as sm

    x = np.array(seasons, dtype=float)
    fit = sm.OLS(np.array([days[s] for s in seasons]), sm.add_constant(x - x.mean())).fit()
    low, high = fit.conf_int(alpha=1 - LEVEL)[1]
    return Trend(what, species, *span, 10 * float(fit.params[1]), 10 * float(low), 10 * float(high))


def garden_trends(garden: Garden) -> list[Trend]:
    """Trends of the place's warmth and frosts, then of each species' stages in its first flushes."""
    record = garden.record_at(((0, garden.places[0].id),))
    if garden.season in record.seasons:
        record = record.through(garden.season, garden.today)  # a forecast frost has not come
    spring = {s: d for s, d in last_frosts(record).items() if s <= garden.season}
    autumn = {s: d for s, d in first_frosts(record).items() if s < garden.season}
    out = [
        _warmth(garden),
        trend_of("last frost", None, spring),
        trend_of("first frost", None, autumn),
    ]
    middles: dict[tuple[str, str], list[tuple[str, int, float]]] = defaultdict(list)
    for h in histories(garden):
        for stage in TARGETS:
            found = h.dated(stage)
            if h.number == 1 and found is not None:
                middles[h.tree.species, stage].append((h.tree.id, h.flush.season, sum(found) / 2))
    for species in dict.fromkeys(t.species for t in garden.trees):
        for stage in TARGETS:
            if (species, stage) in middles:
                out.append(trend_of(stage, species, season_days(middles[species, stage])))
    return out


def _warmth(garden: Garden) -> Trend:
    """Of the day by which each finished season had gathered a goal: what is usual by today.

    In winter, or where a season never gathered as much, seasons that reach it would be a choice of the warm
    ones; the goal is then half the warmth of a usual season.
    """
    course = heat_course(garden)
    curves = course.past
    if not curves:
        return trend_of("warmth", None, {})
    goal = float(np.mean([curve[min(garden.today, len(curve) - 1)] for curve in curves.values()]))
    now = course.lead is not None and all(curve[-1] >= goal for curve in curves.values())
    if not now:
        goal = float(np.mean([curve[-1] for curve in curves.values()])) / 2
    days = {
        s: float(np.interp(goal, curve, np.arange(len(curve))))
        for s, curve in curves.items()
        if goal > 0 and curve[-1] >= goal
    }
    return trend_of("warmth" if now else "half the warmth", None, days)


def season_days(seen: Iterable[tuple[str, int, float]]) -> dict[int, float]:
    """One day a season from trees that come and go: seasons are compared on the same trees.

    Returns
    -------
    dict of season to day
        Least-squares season effects beside tree effects, put on the scale of the days.

    Examples
    --------
    An early tree joins late; the season is not taken for an early one:

    >>> days = season_days([("a", 2020, 150.0), ("a", 2021, 152.0), ("b", 2021, 132.0), ("b", 2022, 133.0)])
    >>> [round(days[s] - days[2020], 6) for s in (2021, 2022)]
    [2.0, 3.0]
    """
    rows: Sequence[tuple[str, int, float]] = list(seen)
    trees, seasons = sorted({r[0] for r in rows}), sorted({r[1] for r in rows})
    design = np.zeros((len(rows), len(trees) + len(seasons)))
    for i, (tree, season, _) in enumerate(rows):
        design[i, trees.index(tree)] = design[i, len(trees) + seasons.index(season)] = 1.0
    day = np.array([r[2] for r in rows])
    effects = np.linalg.lstsq(design, day, rcond=None)[0]
    of_season = effects[len(trees) :] - effects[len(trees) :].mean() + day.mean()
    return dict(zip(seasons, of_season.tolist(), strict=True))
