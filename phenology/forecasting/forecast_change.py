"""What changed since an earlier forecast: misses, and dates that moved by more than jitter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from phenology.errors import WeatherError
from phenology.forecasting.forecast_rows import ForecastRow, GardenForecast
from phenology.forecasting.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.records.flush_history import FlushHistory, histories_of

LOOK_BACK = timedelta(days=7)
NEWS_DAYS = 3.0
"""A median that moved by less than this is jitter, not news (ours). [days]"""


@dataclass(frozen=True)
class Change:
    """One tree's stage, as forecast then and as seen or forecast now.

    Attributes
    ----------
    label : str
        The tree's.
    stage : str
    expected : date
        The median of the earlier forecast.
    now : date
        The median of today's; for a miss the nearest day on which it may have come.
    missed : bool
        Whether the stage has come, outside the range that held four in five.
    why : {"", "weather", "looks"}
        What moved a date that is still ahead.
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


def forecast_changes(forecast: GardenForecast, since: date | None = None) -> list[Change]:
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
    try:
        then = _by_stage(forecast_garden(past))
        today = replace(past, as_of=garden.as_of, weather=garden.weather, outlooks=garden.outlooks)
        alone = _by_stage(forecast_garden(today))
    except WeatherError:
        return []  # there was no weather yet, so there was no forecast either
    now = _by_stage(forecast)
    found = [*_misses(then, garden), *_moves(then, alone, now, garden)]
    return sorted(found, key=lambda c: (not (c.missed or c.not_yet), -abs(c.days), c.label))


Key = tuple[str, int, int, str]


def _by_stage(forecast: GardenForecast) -> dict[Key, ForecastRow]:
    return {(r.tree.id, r.season, r.flush, r.stage): r for r in forecast.rows if r.arrival is not None}


def _misses(then: dict[Key, ForecastRow], garden: Garden) -> Iterator[Change]:
    """Stages seen since, that came outside the range."""
    histories: dict[str, dict[tuple[int, int], FlushHistory]] = {}
    for (tree, season, flush, stage), row in then.items():
        if tree not in histories:
            found = histories_of(garden, row.tree)
            histories[tree] = {(h.flush.season, h.number): h for h in found}
        seen = histories[tree].get((season, flush))
        low, middle, high = row.day(0.1), row.day(0.5), row.day(0.9)
        if seen is None or stage not in seen.came or middle is None or low is None:
            continue
        after, by = seen.came[stage]
        early, late = by <= low, high is not None and after >= high
        if by < float("inf") and (early or late):
            nearest = by if early else after + 1
            date_of = garden.calendar.date
            yield Change(row.tree.label, stage, date_of(season, middle), date_of(season, nearest), True)


def _moves(
    then: dict[Key, ForecastRow], alone: dict[Key, ForecastRow], now: dict[Key, ForecastRow], garden: Garden
) -> Iterator[Change]:
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
        high, looked = then[key].day(0.9), row.seen[0]
        outlived = high is not None and looked is not None and looked > date_of(row.season, high)
        dates = date_of(row.season, before), date_of(row.season, after)
        yield Change(row.tree.label, row.stage, *dates, False, why, looked if outlived else None)
