"""The round: which trees to look at on this walk, because a look would change a decision, and what for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from phenology.advice.care import WIRE, CareDue
from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.advice.season_duties import all_care, due_for_repotting
from phenology.advice.windows import SWELLING_DAYS
from phenology.garden import Garden
from phenology.learning.flush_history import histories_of
from phenology.model.records import Tree
from phenology.model.stages import stage_rank
from phenology.weather.frost import FreezeOdds, autumn_frosts, spring_frosts
from phenology.work.grades import odds_in_tenths

CLOSING_DAYS = 21  # a last safe date this near makes a look pressing (ours)
PRESSING = ("heat", "frost")  # care that will not wait for the next walk
SEASON_ASKS = {
    "pinching": "tips stay soft for days only",
    "bloom": "next year's flower buds form soon after",
    "heat": "the weather ahead",
    "frost": "the weather ahead",
    "repotting": "two years since the last, or unknown",
}
"""Why a look or a duty is due that no work asks for; winter's list needs no reason."""

DUTY_OPERATIONS = {
    "pinching": "pinching", "bloom": "cutback", "repotting": "repotting", "wiring": "wiring",
    "pruning": "pruning", "cuts put off": "cutback",
}  # fmt: skip
"""The work that a duty of the season leads to, for its cautions."""

_NEVER = (date.min, "")

LOOK_FOR = {
    "hardened": "leaves firm, springing back when pressed; shoot base firm; buds in the axils",
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
        What the look decides; empty for what the time of year asks.
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
    visits = [*_by_forecast(forecast), *_by_care(forecast)]
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
    operation, by = advice.operation, advice.last_safe if advice.wakes else None
    near = by is not None and 0 <= (by - garden.as_of).days <= CLOSING_DAYS
    flushes = histories_of(garden, row.tree)
    checked = any(h.checked for h in flushes if (h.flush.season, h.number) == (row.season, row.flush))
    look_for = LOOK_FOR["checked"] if checked else LOOK_FOR["hardened"]
    state = "still hard" if row.arrival is None else "hard"
    because = f"if {state}: {operation.replace('-', ' ')}"
    if advice.wakes and advice.odds is not None and advice.odds[1] < 0.97:
        now, later = map(odds_in_tenths, advice.odds[:2])
        because += f" (that new growth ripens is {now} done now, {later} in two weeks)"
    rank = 0 if near or row.arrival is None else 1
    yield Visit(row.tree, row.place, look_for, because, by, rank, operation)


def _swelling(row: ForecastRow, forecast: GardenForecast) -> Iterator[Visit]:
    garden = forecast.garden
    assert row.arrival is not None
    early, late = row.arrival.quantile(0.1), row.arrival.quantile(0.9)
    if not np.isfinite(early):
        return
    first = garden.calendar.date(row.season, early) - timedelta(days=SWELLING_DAYS)
    last = garden.calendar.date(row.season, late) if np.isfinite(late) else first + timedelta(days=60)
    if not first <= garden.as_of <= last or not due_for_repotting(row.tree, garden.as_of):
        return
    if "bud-swell" not in garden.species_of(row.tree).repot:
        return
    because = "if swelling, and roots fill the pot: repotting"
    yield Visit(row.tree, row.place, LOOK_FOR["swelling"], because, last, 1, "repotting")


def _by_care(forecast: GardenForecast) -> Iterator[Visit]:
    """Looks that work done asks for, the latest work speaking; wire that is due; duties of the season."""
    garden, answered = forecast.garden, set[tuple[str, str]]()
    due = [care for care in all_care(forecast.garden, forecast.rows) if care.due]
    for care in sorted(due, key=lambda c: (c.work.latest, c.work.id) if c.work else _NEVER, reverse=True):
        place = garden.place_of(care.tree, garden.as_of).name
        if care.work is None:
            rank = 0 if care.care in PRESSING else 1 if care.look else 2
            by, operation = care.last if rank < 2 else None, DUTY_OPERATIONS.get(care.care)
            yield Visit(care.tree, place, care.what, SEASON_ASKS.get(care.care, ""), by, rank, operation)
            continue
        if not care.look or (care.tree.id, care.care) in answered:
            continue
        ago = (garden.as_of - care.work.latest).days
        if care.care == WIRE:
            yield Visit(care.tree, place, care.what, f"wired {ago} days ago", None, 0, "wire-removal")
        elif not _answered(garden, care):
            answered.add((care.tree.id, care.care))
            because = f"{care.work.operation.replace('-', ' ')} {ago} days ago"
            yield Visit(care.tree, place, care.what, because, care.last)


def _answered(garden: Garden, care: CareDue) -> bool:
    """Whether a look since then has told already: buds that broke, or any look for the rest."""
    rank = stage_rank("budbreak") if care.care == "buds" else 0
    looks = garden.looks_by_tree.get(care.tree.id, [])
    return any(look.earliest >= care.first and stage_rank(look.stage) >= rank for look in looks)


def _review(garden: Garden) -> Review:
    season, none = garden.season, (None, None)
    first: tuple[date | None, date | None] = none
    last: tuple[date | None, date | None] = none
    share = 0.0

    def dated(season: int, day: float | None) -> date | None:
        return None if day is None else garden.calendar.date(season, day)

    record, cold = garden.record_at(((0, garden.places[0].id),)), garden.limits.frost_c
    ahead = season if garden.today < 60 else season + 1  # the spring to come
    if autumn := autumn_frosts(record, cold, season):
        odds = FreezeOdds.of(autumn)
        share = odds.share
        first = dated(season, odds.day(0.1)), dated(season, odds.day(0.5))
    if spring := spring_frosts(record, cold, season):
        mirrored = FreezeOdds.of([-day for day in spring])  # so that what never came is never late
        middle, late = (None if day is None else -day for day in map(mirrored.day, (0.5, 0.1)))
        last = dated(ahead, middle), dated(ahead, late)
    due = [(t, t.last_repot) for t in garden.standing_trees if due_for_repotting(t, garden.as_of)]
    return Review(first, last, share, tuple(due))
