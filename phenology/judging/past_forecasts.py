"""Past forecasts against what came: every finished season forecast again, as it would have been then.

Each forecast is made by the one forecaster of this project from what was known on its day: all records and
weather of other seasons, and those of its own season up to that day. What a forecast of today tells is
judged by exactly such rows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from phenology.forecasting.flush_forecast import falls_back, forecast_stages
from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory, histories
from phenology.learning.garden_fit import GardenFit
from phenology.model.track_record import PastForecast, TrackRecord

EVERY_DAYS = 20
"""Forecasts of a past season are issued so far apart (ours)."""
MOST_SEASONS = 8
"""The latest finished seasons are judged, no more of them (ours): a grower's eye changes."""
MOST_TREES = 12
"""Of each species so many trees are judged, no more (ours): they differ little."""
MOST_TEACHERS = 40
"""Of each species so many trees teach past forecasts, no more (ours): so they stay within minutes."""
FEWEST_SEASONS = 2
STAGES = ("budbreak", "extended", "hardened")


def past_forecasts(
    garden: Garden, *, every: int = EVERY_DAYS, progress: Callable[[int, int], None] | None = None
) -> list[PastForecast]:
    """Forecast the finished seasons again, each from all others and from its own up to the day of issue.

    A species is judged from its second season on record. Where the usual date did as well as the weather, the
    clocks of the calendar are tried alone; where they come closer, those forecasts stand.

    Parameters
    ----------
    garden : Garden
        Records of the season under way are not used.
    every : int
        Days between forecasts of a season.
    progress : callable, optional
        Called with (forecasts made, forecasts to make).
    """
    finished = _of_some_trees(replace(garden.finished_seasons, skills={}))
    truth = _truth(finished)
    days = [
        finished.calendar.date(season, day)
        for season in sorted({h.flush.season for h in truth.values()})[-MOST_SEASONS:]
        for day in _issue_days([h for h in truth.values() if h.flush.season == season], every)
    ]
    rows = list(_issued(finished, days, truth, progress))
    plain = TrackRecord.of(rows)
    doubtful = {
        name: replace(record, by_calendar=True)
        for name, record in plain.items()
        if record.weather_adds_nothing
    }
    mine = {key: h for key, h in truth.items() if h.tree.species in doubtful}
    tried = list(_issued(replace(finished, skills=doubtful), days if doubtful else [], mine, progress))
    closer = {name for name, record in TrackRecord.of(tried).items() if record.missed < plain[name].missed}
    return [row for row in rows if row.species not in closer] + [
        row for row in tried if row.species in closer
    ]


Truth = dict[tuple[str, int, int], FlushHistory]
"""Flushes as known in the end, by tree, season and number."""


def _issued(
    finished: Garden, days: Sequence[date], truth: Truth, progress: Callable[[int, int], None] | None
) -> Iterator[PastForecast]:
    """The forecasts of some days, one fit after another, so that memory holds no more than one."""
    for done, day in enumerate(days):
        if progress is not None:
            progress(done, len(days))
        known = finished.known_on(day)
        yield from issued_by(known, GardenFit(known), truth)


def _of_some_trees(garden: Garden) -> Garden:
    """The garden with no more trees of a species than past forecasts learn from."""
    seen = {h.tree.id for h in histories(garden) if any(h.dated(stage) for stage in STAGES)}
    of_species: dict[str, list[str]] = {}
    for tree in sorted(garden.trees, key=lambda tree: tree.id not in seen):
        of_species.setdefault(tree.species, []).append(tree.id)
    if all(len(trees) <= MOST_TEACHERS for trees in of_species.values()):
        return garden
    kept = {tree for trees in of_species.values() for tree in trees[:MOST_TEACHERS]}
    return replace(
        garden,
        trees=[tree for tree in garden.trees if tree.id in kept],
        flushes=[flush for flush in garden.flushes if flush.tree_id in kept],
        looks=[look for look in garden.looks if look.tree_id in kept],
        works=[work for work in garden.works if work.tree_id in kept],
    )


def issued_by(known: Garden, fit: GardenFit, truth: Truth) -> list[PastForecast]:
    """What a garden forecasts on `known.as_of` of stages of these flushes that looks have since dated."""
    trees = {tree for tree, _, _ in truth}
    rows = []
    for one in forecast_stages(known, fit, [tree for tree in known.standing_trees if tree.id in trees]):
        h = one.history
        seen = truth.get((h.tree.id, h.flush.season, h.number))
        came = seen.dated(one.stage) if seen is not None and one.dated else None
        if came is None or h.flush.season != known.season or came[1] <= known.today:
            continue
        end = float(len(one.arrival.curve))
        q10, q25, q50, q75, q90 = (min(q, end) for q in one.arrival.quantiles())
        chance = one.arrival.chance_by((came[0] + came[1]) / 2)
        rows.append(
            PastForecast(
                h.tree.species, h.tree.id, h.flush.season, h.number, one.stage, known.today,
                one.steps[0].start == "start", falls_back(known, h), q10, q25, q50, q75, q90,
                one.arrival.p_not, came[0], came[1], chance,
            )
        )  # fmt: skip
    return rows


def _truth(garden: Garden) -> Truth:
    """Flushes to be judged by: a few trees of every species that has enough seasons of dated stages."""
    dated = [h for h in histories(garden) if any(h.dated(stage) for stage in STAGES)]
    seasons: dict[str, set[int]] = {}
    for h in dated:
        seasons.setdefault(h.tree.species, set()).add(h.flush.season)
    trees: dict[str, dict[str, None]] = {}
    for h in dated:
        trees.setdefault(h.tree.species, {})[h.tree.id] = None
    judged = {tree for mine in trees.values() for tree in list(mine)[:MOST_TREES]}
    return {
        (h.tree.id, h.flush.season, h.number): h
        for h in dated
        if len(seasons[h.tree.species]) >= FEWEST_SEASONS and h.tree.id in judged
    }


def _issue_days(flushes: Sequence[FlushHistory], every: int) -> Iterator[int]:
    """Days on which a season is forecast: from before bud break to the last first flush's hardening."""
    came = [came for h in flushes if h.number == 1 for stage in STAGES if (came := h.dated(stage))]
    if not came:
        return
    first, last = min(a for a, _ in came), max(b for _, b in came)
    day = max(1, math.floor(first) - every)
    while day < last:
        yield day
        day += every


def held(past: Sequence[PastForecast]) -> float:
    """Share of the 80 % ranges that held the middle of the looks, each season counting alike."""
    return _over_seasons(past, lambda one: float(one.q10 <= one.middle <= one.q90))


def typical_error(past: Sequence[PastForecast]) -> float:
    """Mean distance between median and event, each season counting alike. [days]"""
    return _over_seasons(past, lambda one: abs(one.error))


def _over_seasons(past: Sequence[PastForecast], value: Callable[[PastForecast], float]) -> float:
    by_season: dict[int, list[float]] = {}
    for one in past:
        by_season.setdefault(one.season, []).append(value(one))
    return float(np.mean([np.mean(values) for values in by_season.values()])) if by_season else math.nan
