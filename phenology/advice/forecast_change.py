"""What changed since an earlier forecast: misses, dates that moved by more than jitter, every stop date."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.advice.garden_forecast import forecast_garden
from phenology.advice.stop_dates import stop_days
from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory, histories_of

LOOK_BACK = timedelta(days=7)
NEWS_DAYS = 3.0
"""A median that moved by less than this is jitter, not news (ours). [days]"""

STOP = "stop"
"""Stands for the stage in a change of a last safe date."""


@dataclass(frozen=True)
class ForecastChange:
    """One tree's stage, as forecast then and as seen or forecast now.

    Attributes
    ----------
    label : str
        The tree's.
    stage : str
        Or "stop", for the last safe date.
    expected : date
        The median of the earlier forecast, or its last safe date.
    now : date
        The median of today's, or its last safe date; for a miss the nearest day on which it may have come.
    missed : bool
        Whether the stage has come, outside the range that held four in five.
    why : {"", "weather", "looks"}
        What moved a date that is still ahead; empty where that was not asked.
    not_yet : date or None
        The look at which the stage had not come, where that lies past the range that held four in five.
    """

    label: str
    stage: str
    expected: date
    now: date
    missed: bool
    why: str = ""
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

    Parameters
    ----------
    forecast : GardenForecast
        Today's.
    since : date, optional
        The earlier day; by default see `changed_since`.

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
    before = forecast_garden(past)
    then = _by_stage(before)
    today = replace(past, as_of=garden.as_of, weather=garden.weather, outlooks=garden.outlooks)
    by_weather = forecast_garden(today)
    alone = _by_stage(by_weather)
    now = _by_stage(forecast)
    found = [*_misses(issued_by(before), garden), *_moves(then, alone, now, garden)]
    stops = stop_changes(_stops(before), _stops(forecast), garden, _stops(by_weather))
    told = {row.tree.label for row in forecast.rows if row.advice is not None and row.advice.last_safe}
    found += (change for change in stops if change.label in told)  # a guess may tell no stop date at all
    return sorted(found, key=lambda c: (not (c.missed or c.not_yet), -abs(c.days), c.label))


def moved_by_looks(
    before: GardenForecast, now: GardenForecast, trees: Collection[str]
) -> list[ForecastChange]:
    """What records moved between two forecasts of the same day and weather, the largest moves first.

    Parameters
    ----------
    before, now : GardenForecast
        Made before and after something was written down, or taken back.
    trees : collection of str
        Those it is told of, by their ids.
    """
    then = _by_stage(before)
    told = {key: row for key, row in _by_stage(now).items() if row.tree.id in trees}
    found = [*_moves(then, then, told, now.garden)]
    stops = _stops(before, trees)
    found += stop_changes(stops, _stops(now, trees), now.garden, stops)
    return sorted(found, key=lambda c: (-abs(c.days), c.label))


def _stops(forecast: GardenForecast, only: Collection[str] | None = None) -> dict[str, float]:
    return stop_days(forecast.garden, forecast.seasons, only)


def stop_changes(
    before: Mapping[str, float], now: Mapping[str, float], garden: Garden, by_weather: Mapping[str, float]
) -> Iterator[ForecastChange]:
    """Every last safe date that moved, while one of the two lies ahead.

    Parameters
    ----------
    before, now : mapping
        As `stop_days` gives them, then and on the garden's day.
    garden : Garden
    by_weather : mapping
        Those of today's weather with the looks of then: whichever of the two moved a date further is named.
    """
    trees = {tree.id: tree.label for tree in garden.trees}
    for tree, day in now.items():
        then = before.get(tree, day)
        if then == day or max(then, day) < garden.today:
            continue
        alone = by_weather.get(tree, then)
        why = "weather" if abs(alone - then) >= abs(day - alone) else "looks"
        date_of = garden.calendar.date
        dates = date_of(garden.season, then), date_of(garden.season, day)
        yield ForecastChange(trees[tree], STOP, *dates, False, why)


Key = tuple[str, int, int, str]
"""Tree, season, flush and stage."""


@dataclass(frozen=True)
class Issued:
    """When an earlier forecast said that a stage would come, in days of its season.

    Attributes
    ----------
    low, middle, high : float or None
        Its 10, 50 and 90 % quantiles; None beyond the chance that it does not come at all.
    """

    low: float | None
    middle: float | None
    high: float | None


def issued_by(forecast: GardenForecast) -> dict[Key, Issued]:
    """What a forecast says of every stage that it dates."""
    dated = _by_stage(forecast)
    days = {key: (row.day(0.1), row.day(0.5), row.day(0.9)) for key, row in dated.items()}
    return {key: Issued(*three) for key, three in days.items() if three[1] is not None}


def misses(then: Mapping[Key, Issued], forecast: GardenForecast) -> list[ForecastChange]:
    """Stages that came outside the range told earlier, or have outlived it by a look.

    Unlike `forecast_changes` this makes no forecast anew, so that every forecast can tell it.
    """
    now, garden = issued_by(forecast), forecast.garden
    found = [*_misses(then, garden)]
    date_of = garden.calendar.date
    for key, row in _by_stage(forecast).items():
        before, after = then.get(key), now.get(key)
        if before is None or after is None or before.middle is None or after.middle is None:
            continue
        looked = _outlived(before.high, row, garden)
        if looked is not None:
            dates = date_of(row.season, before.middle), date_of(row.season, after.middle)
            found.append(ForecastChange(row.tree.label, row.stage, *dates, False, "looks", looked))
    return sorted(found, key=lambda c: (not c.missed, -abs(c.days), c.label))


def moved_outside(then: Mapping[Key, Issued], forecast: GardenForecast) -> list[ForecastChange]:
    """Dates still ahead that moved by more than jitter, out of the range told earlier; the largest first.

    Like `misses` this makes no forecast anew, so that it does not ask what moved them.
    """
    found, date_of = [], forecast.garden.calendar.date
    for key, row in _by_stage(forecast).items():
        before, middle = then.get(key), row.day(0.5)
        if before is None or before.middle is None or before.low is None or middle is None:
            continue
        inside = before.low <= middle and (before.high is None or middle <= before.high)
        if abs(middle - before.middle) >= NEWS_DAYS and not inside:
            dates = date_of(row.season, before.middle), date_of(row.season, middle)
            found.append(ForecastChange(row.tree.label, row.stage, *dates, False))
    return sorted(found, key=lambda c: (-abs(c.days), c.label))


def _by_stage(forecast: GardenForecast) -> dict[Key, ForecastRow]:
    return {(r.tree.id, r.season, r.flush, r.stage): r for r in forecast.rows if r.arrival is not None}


def _misses(then: Mapping[Key, Issued], garden: Garden) -> Iterator[ForecastChange]:
    """Stages seen since, that came outside the range."""
    trees = {tree.id: tree for tree in garden.trees}
    histories: dict[str, dict[tuple[int, int], FlushHistory]] = {}
    for (tree, season, flush, stage), told in then.items():
        if tree not in trees:
            continue
        if tree not in histories:
            found = histories_of(garden, trees[tree])
            histories[tree] = {(h.flush.season, h.number): h for h in found}
        seen = histories[tree].get((season, flush))
        if seen is None or stage not in seen.came or told.middle is None or told.low is None:
            continue
        after, by = seen.came[stage]
        early, late = by <= told.low, told.high is not None and after >= told.high
        if by < float("inf") and (early or late):
            nearest = by if early else after + 1
            date_of = garden.calendar.date
            yield ForecastChange(
                trees[tree].label, stage, date_of(season, told.middle), date_of(season, nearest), True
            )


def _moves(
    then: dict[Key, ForecastRow], alone: dict[Key, ForecastRow], now: dict[Key, ForecastRow], garden: Garden
) -> Iterator[ForecastChange]:
    """Dates still ahead that moved by more than jitter, or that a look has outlived."""
    for key, row in now.items():
        before, after = (then[key].day(0.5) if key in then else None), row.day(0.5)
        if before is None or after is None or abs(after - before) < NEWS_DAYS:
            continue
        by_weather = alone[key].day(0.5) if key in alone else None
        why = "looks"
        if by_weather is not None and abs(by_weather - before) >= abs(after - by_weather):
            why = "weather"
        date_of = garden.calendar.date
        dates = date_of(row.season, before), date_of(row.season, after)
        outlived = _outlived(then[key].day(0.9), row, garden)
        yield ForecastChange(row.tree.label, row.stage, *dates, False, why, outlived)


def _outlived(high: float | None, row: ForecastRow, garden: Garden) -> date | None:
    """The last look before a stage, where it lies past the range told earlier; None where it does not."""
    looked = row.seen[0]
    if high is None or looked is None or looked <= garden.calendar.date(row.season, high):
        return None
    return looked
