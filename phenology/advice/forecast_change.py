"""What changed since an earlier forecast: misses, dates that moved by more than jitter, every stop date."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache
from typing import NamedTuple

from phenology.advice.adviser import stop_days
from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.learning.flush_history import histories_of

LOOK_BACK = timedelta(days=7)
NEWS_DAYS = 3.0
"""A median that moved by less than this is jitter, not news (ours). [days]"""

STOP = "stop"
"""Stands for the stage in a change of a last safe date."""


@dataclass(frozen=True, eq=False, repr=False)
class ForecastChange:
    """One tree's stage, as forecast then and as seen or forecast now."""

    label: str  # that of the tree
    stage: str  # or `STOP`, for the last safe date
    expected: date  # the median of the earlier forecast, or its last safe date
    # the median of today's, or its last safe date; for a miss the nearest day on which it may have come
    now: date
    missed: bool  # whether the stage has come, outside the range that held four in five
    # what moved a date that is still ahead: "weather" or "looks"; empty where that was not asked
    why: str = ""
    # the look at which the stage had not come, where that lies past the range that held four in five
    not_yet: date | None = None

    @property
    def days(self) -> int:
        """How much later than expected; negative when earlier."""
        return (self.now - self.expected).days


def changed_since(garden: Garden) -> date:
    """The day of the earlier forecast: before the last look, and a week ago at least."""
    last = max((v.latest for v in garden.looks), default=garden.as_of)
    return min(garden.as_of - LOOK_BACK, last - timedelta(days=1))


def forecast_changes(forecast: GardenForecast, since: date | None = None) -> list[ForecastChange]:
    """What is news in a forecast against the one of an earlier day, misses first.

    Without `since` that day is as `changed_since` says.

    Notes
    -----
    A date that moved is put down to the weather or to the looks, whichever moved it further: the garden is
    forecast once more with today's weather and the looks of then.
    """
    garden = forecast.garden
    day = since or changed_since(garden)
    if garden.calendar.season_of(day) != garden.season:
        return []
    past = garden.up_to(day)
    today = replace(past, as_of=garden.as_of, weather=garden.weather, outlooks=garden.outlooks)
    before, by_weather = forecast_garden(past), forecast_garden(today)
    then = issued_by(before)
    found = [*_misses(then, garden), *_moves(then, issued_by(by_weather), forecast)]
    stops = stop_changes(_stops(before), _stops(forecast), garden, _stops(by_weather))
    told = {row.tree.label for row in forecast.rows if row.advice is not None and row.advice.last_safe}
    found += (change for change in stops if change.label in told)  # a guess may tell no stop date at all
    return sorted(found, key=lambda c: (not (c.missed or c.not_yet), *_largest(c)))


def moved_by_looks(
    before: GardenForecast, now: GardenForecast, trees: Collection[str]
) -> list[ForecastChange]:
    """What records moved between two forecasts of the same day and weather, the largest moves first.

    `before` and `now` were made before and after something was written down, or taken back; it is given for
    `trees` alone, by their ids.
    """
    then = {key: one for key, one in issued_by(before).items() if key[0] in trees}
    stops = _stops(before, trees)
    found = [*_moves(then, then, now), *stop_changes(stops, _stops(now, trees), now.garden, stops)]
    return sorted(found, key=_largest)


def _stops(forecast: GardenForecast, only: Collection[str] | None = None) -> dict[str, float]:
    return stop_days(forecast.garden, forecast.seasons, only)


def stops_moved(before: Garden, now: Garden) -> list[ForecastChange]:
    """Every last safe date that records moved between two gardens that nothing else tells apart."""
    then = stop_days(before)
    return [*stop_changes(then, stop_days(now), now, then)]


def stop_changes(
    before: Mapping[str, float], now: Mapping[str, float], garden: Garden, by_weather: Mapping[str, float]
) -> Iterator[ForecastChange]:
    """Every last safe date that moved, while one of the two lies ahead.

    `before` and `now` are as `stop_days` gives them, then and on the garden's day; `by_weather` those of
    today's weather with the looks of then: whichever of the two moved a date further is named.
    """
    trees = {tree.id: tree.label for tree in garden.trees}
    for tree, day in now.items():
        then = before.get(tree, day)
        if then == day or max(then, day) < garden.today:
            continue
        alone, date_of = by_weather.get(tree, then), garden.calendar.date
        why = "weather" if abs(alone - then) >= abs(day - alone) else "looks"
        dates = date_of(garden.season, then), date_of(garden.season, day)
        yield ForecastChange(trees[tree], STOP, *dates, False, why)


Key = tuple[str, int, int, str]
"""Tree, season, flush and stage."""


class Issued(NamedTuple):
    """When an earlier forecast said that a stage would come: three quantiles. [day of season]

    None beyond the chance that it does not come at all.
    """

    low: float | None  # 10 %
    middle: float | None  # 50 %
    high: float | None  # 90 %


def issued_by(forecast: GardenForecast) -> dict[Key, Issued]:
    """What a forecast says of every stage that it dates."""
    days = {key: (row.day(0.1), row.day(0.5), row.day(0.9)) for key, row in _by_stage(forecast)}
    return {key: Issued(*three) for key, three in days.items() if three[1] is not None}


def misses(then: Mapping[Key, Issued], forecast: GardenForecast) -> list[ForecastChange]:
    """Stages that came outside the range told earlier, or have outlived it by a look.

    Unlike `forecast_changes` this makes no forecast anew, so that every forecast can tell it.
    """
    ahead = [change for *_, change in _still_ahead(then, forecast) if change.not_yet]
    return sorted([*_misses(then, forecast.garden), *ahead], key=lambda c: (not c.missed, *_largest(c)))


def moved_outside(then: Mapping[Key, Issued], forecast: GardenForecast) -> list[ForecastChange]:
    """Dates still ahead that moved by more than jitter, out of the range told earlier; the largest first.

    Like `misses` this makes no forecast anew, so that it does not ask what moved them.
    """
    found = []
    for _, before, middle, change in _still_ahead(then, forecast):
        if before.low is None or before.middle is None or abs(middle - before.middle) < NEWS_DAYS:
            continue
        if middle < before.low or (before.high is not None and middle > before.high):
            found.append(replace(change, why="", not_yet=None))
    return sorted(found, key=_largest)


def _largest(change: ForecastChange) -> tuple[int, str]:
    """Sorts the largest moves first."""
    return -abs(change.days), change.label


def _by_stage(forecast: GardenForecast) -> Iterator[tuple[Key, ForecastRow]]:
    for row in forecast.rows:
        if row.arrival is not None:
            yield (row.tree.id, row.season, row.flush, row.stage), row


def _misses(then: Mapping[Key, Issued], garden: Garden) -> Iterator[ForecastChange]:
    """Stages seen since, that came outside the range."""
    date_of, trees = garden.calendar.date, {tree.id: tree for tree in garden.trees}
    of_tree = cache(lambda id: {(h.flush.season, h.number): h for h in histories_of(garden, trees[id])})
    for (tree, season, flush, stage), told in then.items():
        seen = of_tree(tree).get((season, flush)) if tree in trees else None
        if seen is None or stage not in seen.came or told.middle is None or told.low is None:
            continue
        after, by = seen.came[stage]
        early, late = by <= told.low, told.high is not None and after >= told.high
        if by < math.inf and (early or late):
            dates = date_of(season, told.middle), date_of(season, by if early else after + 1)
            yield ForecastChange(trees[tree].label, stage, *dates, True)


def _still_ahead(
    then: Mapping[Key, Issued], forecast: GardenForecast
) -> Iterator[tuple[Key, Issued, float, ForecastChange]]:
    """Dates told then that are still ahead: what was told, the median now, and the change between them.

    Where the last look before the stage lies past the range told then, the change says so.
    """
    date_of = forecast.garden.calendar.date
    for key, row in _by_stage(forecast):
        before, middle, looked = then.get(key), row.day(0.5), row.seen[0]
        if before is None or before.middle is None or middle is None:
            continue
        if looked is not None and (before.high is None or looked <= date_of(row.season, before.high)):
            looked = None
        dates = date_of(row.season, before.middle), date_of(row.season, middle)
        yield key, before, middle, ForecastChange(row.tree.label, row.stage, *dates, False, "looks", looked)


def _moves(
    then: Mapping[Key, Issued], alone: Mapping[Key, Issued], forecast: GardenForecast
) -> Iterator[ForecastChange]:
    """Dates still ahead that moved by more than jitter; `alone` has them by the weather alone."""
    for key, before, middle, change in _still_ahead(then, forecast):
        if before.middle is None or abs(middle - before.middle) < NEWS_DAYS:
            continue
        by_weather = alone[key].middle if key in alone else None
        if by_weather is not None and abs(by_weather - before.middle) >= abs(middle - by_weather):
            change = replace(change, why="weather")
        yield change
