"""The round: which trees to look at on this walk, because a look would change a decision, and what for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

import numpy as np

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.advice.windows import SWELLING_DAYS
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS
from phenology.model.errors import WeatherError
from phenology.model.records import Tree
from phenology.model.stages import stage_rank
from phenology.weather.frost import FreezeOdds, first_frosts, last_frosts
from phenology.work.aftercare import aftercare, due
from phenology.work.wire_watch import wire_check

CLOSING_DAYS = 21  # a last safe date this near makes a look pressing (ours)
CARE_DAYS = 45  # work longer ago asks for no more care (ours)
REPOT_YEARS = 2  # a root ball this old is worth a look in spring; common practice, no source
CLOCK = "heat above 5"

LOOK_FOR = {
    "hardened": "leaves firm, springing back when pressed; shoot base firm; buds in the axils",
    "budbreak": "green tips",
    "swelling": "buds fat, scales parting",
    "checked": "whether tips move again",
}


@dataclass(frozen=True)
class Visit:
    """One tree on the round.

    Attributes
    ----------
    tree : Tree
    place : str
    look_for : str
        What to look for.
    because : str
        What the look decides.
    by : date or None
        Until when the decision can wait.
    rank : int
        0 presses, 1 is due, 2 may be looked at in passing.
    operation : str or None
        The work that may follow.
    """

    tree: Tree
    place: str
    look_for: str
    because: str
    by: date | None = None
    rank: int = 1
    operation: str | None = None


@dataclass(frozen=True)
class Review:
    """What there is to do when nothing grows.

    Attributes
    ----------
    first_frost : (date or None, date or None)
        Days by which a first frost has come in 1 and in 5 years of 10; None where it is rarer.
    last_frost : (date or None, date or None)
        Days after which a frost still comes in 5 and in 1 years of 10.
    share : float
        Share of winters with frost.
    repot : tuple of (Tree, date or None)
        Trees whose roots are due for a look in spring, and when they were last repotted.
    """

    first_frost: tuple[date | None, date | None]
    last_frost: tuple[date | None, date | None]
    share: float
    repot: tuple[tuple[Tree, date | None], ...]


@dataclass(frozen=True)
class Round:
    """A walk through the garden: visits, most pressing first; a review when nothing grows."""

    day: date
    visits: tuple[Visit, ...]
    review: Review | None


def plan_round(forecast: GardenForecast) -> Round:
    """Plan the round of a garden's today."""
    garden = forecast.garden
    visits = [*_by_forecast(forecast), *_by_care(garden), *_by_wire(garden)]
    visits.sort(key=lambda s: (s.rank, s.by or date.max, s.place, s.tree.label))
    quiet = not any(s.rank < 2 for s in visits) and not _growing(forecast)
    return Round(garden.as_of, tuple(visits), _review(garden) if quiet else None)


def _growing(forecast: GardenForecast) -> bool:
    """Whether any flush has broken and goes on, or will within weeks."""
    soon = forecast.garden.as_of + timedelta(days=35)
    return any(row.look_on <= soon for row in forecast.rows)


def _by_forecast(forecast: GardenForecast) -> Iterator[Visit]:
    garden = forecast.garden
    for row in forecast.rows:
        if row.season != garden.season and row.stage != "budbreak":
            continue
        if row.stage == "hardened":
            yield from _hard(row, garden)
        elif row.stage == "budbreak" and row.flush == 1 and row.arrival is not None:
            yield from _swelling(row, forecast)


def _hard(row: ForecastRow, garden: Garden) -> Iterator[Visit]:
    advice = row.advice
    if advice is None or advice.operation is None or row.look_on > garden.as_of:
        return  # a look would change nothing
    operation, by = advice.operation, advice.last_safe
    near = by is not None and 0 <= (by - garden.as_of).days <= CLOSING_DAYS
    checked = any("checked" in w for w in row.warnings)
    look_for = LOOK_FOR["checked"] if checked else LOOK_FOR["hardened"]
    state = "still hard" if row.arrival is None else "hard"
    because = f"if {state}: {operation.replace('-', ' ')}"
    if advice.odds is not None and advice.odds[1] < 0.97:
        because += f" (ripens {advice.odds[0]:.0%} done now, {advice.odds[1]:.0%} in two weeks)"
    yield Visit(
        row.tree, row.place, look_for, because, by, 0 if near or row.arrival is None else 1, operation
    )


def _swelling(row: ForecastRow, forecast: GardenForecast) -> Iterator[Visit]:
    garden = forecast.garden
    assert row.arrival is not None
    early, late = row.arrival.quantile(0.1), row.arrival.quantile(0.9)
    if not np.isfinite(early):
        return
    first = garden.calendar.date(row.season, early) - timedelta(days=SWELLING_DAYS)
    last = garden.calendar.date(row.season, late) if np.isfinite(late) else first + timedelta(days=60)
    if not first <= garden.as_of <= last or not _due_for_repotting(row.tree, garden.as_of):
        return
    because = "if swelling, and roots fill the pot: repotting"
    yield Visit(row.tree, row.place, LOOK_FOR["swelling"], because, last, 1, "repotting")


def _due_for_repotting(tree: Tree, day: date) -> bool:
    return tree.last_repot is None or (day - tree.last_repot).days > 365 * REPOT_YEARS - 60


def _by_care(garden: Garden) -> Iterator[Visit]:
    since = garden.as_of - timedelta(days=CARE_DAYS)
    for tree in _kept(garden):
        species, aim = garden.species_of(tree), garden.aim_of(tree)
        told: set[str] = set()
        for work in reversed(garden.works_by_tree.get(tree.id, [])):
            if not since <= work.latest <= garden.as_of:
                continue
            for care in due(aftercare(work, tree, species, aim), garden.as_of):
                if not care.look or care.name in told or _answered(garden, tree, care.name, care.first):
                    continue
                told.add(care.name)
                done = f"{work.operation.replace('-', ' ')} {(garden.as_of - work.latest).days} days ago"
                place = garden.place_of(tree, garden.as_of).name
                yield Visit(tree, place, care.sentence, done, care.last, 1, None)


def _answered(garden: Garden, tree: Tree, name: str, since: date) -> bool:
    """Whether a look since then has told already: buds that broke, or any look for the rest."""
    rank = stage_rank("budbreak") if name == "buds" else 0
    return any(
        k.tree_id == tree.id and k.earliest >= since and stage_rank(k.stage) >= rank for k in garden.looks
    )


def _by_wire(garden: Garden) -> Iterator[Visit]:
    for tree in _kept(garden):
        looks = [k for k in garden.looks if k.tree_id == tree.id]
        works, warmth = garden.works_by_tree.get(tree.id, []), partial(growing_days, garden, tree)
        check = wire_check(works, looks, garden.as_of, garden.calendar, vigour=tree.vigour, growth=warmth)
        if check is not None and check.due <= garden.as_of:
            place = garden.place_of(tree, garden.as_of).name
            because = f"wired {(garden.as_of - check.wired.latest).days} days ago"
            yield Visit(tree, place, check.sentence, because, None, 0, "wire-removal")


def growing_days(garden: Garden, tree: Tree, first: date, last: date) -> float | None:
    """Days at a constant 18 degC that the weather between two dates is worth; None when unknown."""
    series = garden.weather.get(garden.place_of(tree, last).id)
    if series is None or first < series.first_day or last > series.last_day:
        return None
    part = series.between(first, last)
    clock = next(c for c in CLOCKS if c.name == CLOCK)
    rates = clock.rates(part.tmin, part.tmax)
    return float(np.nansum(rates)) if np.isfinite(rates).mean() > 0.8 else None


def _kept(garden: Garden) -> list[Tree]:
    return [t for t in garden.trees if t.retired is None or t.retired > garden.as_of]


def _review(garden: Garden) -> Review:
    place = garden.places[0]
    season, day = garden.season, garden.today
    site = ((0, place.id),)
    try:
        record = garden.record_at(site)
    except WeatherError:
        record = None
    first: tuple[date | None, date | None] = (None, None)
    last: tuple[date | None, date | None] = (None, None)
    share = 0.0
    if record is not None:
        cold = garden.limits.frost_c
        autumn = list(first_frosts(record, cold, today=season).values())
        spring = list(last_frosts(record, cold, today=season).values())
        ahead = season if day < 60 else season + 1  # the spring to come
        if autumn:
            odds = FreezeOdds.of(autumn)
            share = odds.share
            first = _date(garden, season, odds.day(0.1)), _date(garden, season, odds.day(0.5))
        if spring:
            # mirrored, so that what never came is never late
            odds = FreezeOdds.of([-d for d in spring])
            middle, late = odds.day(0.5), odds.day(0.1)
            last = (
                _date(garden, ahead, None if middle is None else -middle),
                _date(garden, ahead, None if late is None else -late),
            )
    repot = [(t, t.last_repot) for t in _kept(garden) if _due_for_repotting(t, garden.as_of)]
    return Review(first, last, share, tuple(repot))


def _date(garden: Garden, season: int, day: float | None) -> date | None:
    return None if day is None else garden.calendar.date(season, day)
