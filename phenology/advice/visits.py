"""What to look for on a walk today, tree by tree, because a look would change a decision."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import NamedTuple

from phenology.advice.care import WIRE, CareDue, due_for_repotting
from phenology.advice.forecast_rows import ForecastRow
from phenology.garden import Garden
from phenology.language.date_style import short_date
from phenology.learning.flush_history import FlushHistory, histories_of
from phenology.learning.transitions import SHORTENED_DAYS
from phenology.model.operations import Operation
from phenology.model.records import Tree
from phenology.model.stages import stage_rank
from phenology.records.flushes import CARRIES_ON_DAYS
from phenology.work.case import Case
from phenology.work.duties import SWELLING_DAYS
from phenology.work.grades import odds_in_tenths
from phenology.work.rule import better_from
from phenology.work.rules import check_work

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
    "budbreak": "green tips, first leaves separating",
    "hardened": "leaves firm, springing back when pressed; shoot base firm; buds in the axils",
    "swelling": "buds fat, scales parting",
    "checked": "whether tips move again",
}


@dataclass(frozen=True, eq=False, repr=False)
class Visit:
    """One tree on the round."""

    tree: Tree
    place: str
    look_for: str  # what to look for
    because: str  # what the look decides; empty for what the time of year asks
    by: date | None = None  # until when the decision can wait
    rank: int = 1  # 0 presses, 1 is due, 2 may be looked at in passing
    operation: str | None = None  # the work that may follow
    # the forecast that asks for it; None for what work done or the time of year asks
    step: ForecastRow | None = None
    # whether it is a look that cannot wait, rather than shelter from the weather ahead or a duty that can
    look: bool = True


def visits_today(
    tree: Tree, garden: Garden, steps: Sequence[ForecastRow], care: Sequence[CareDue]
) -> tuple[Visit, ...]:
    """What to look for on one tree today, most pressing first.

    `steps` are the deciding ones of the tree, `care` is what is due on it.
    """
    found = [visit for step in steps for visit in _by_forecast(step)]
    return tuple(sorted([*found, *_by_care(tree, garden, care)], key=lambda v: (v.rank, v.by or date.max)))


def _by_forecast(step: ForecastRow) -> Iterator[Visit]:
    if step.stage == "budbreak":
        yield from _swelling(step)
        if step.decides and step.look_on <= step.garden.as_of:
            because = "every date of the season counts from it"
            yield Visit(step.tree, step.place, LOOK_FOR["budbreak"], because, step=step)
    elif step.stage == "hardened":
        yield from _hard(step)


def _hard(row: ForecastRow) -> Iterator[Visit]:
    garden, advice = row.garden, row.advice
    if advice is None or advice.operation is None or row.look_on > garden.as_of:
        return  # a look would change nothing
    operation, by = advice.operation, advice.last_safe if advice.wakes else None
    near = by is not None and 0 <= (by - garden.as_of).days <= CLOSING_DAYS
    flushes = histories_of(garden, row.tree)
    checked = any(h.checked for h in flushes if (h.flush.season, h.number) == (row.season, row.flush))
    look_for = LOOK_FOR["checked"] if checked else LOOK_FOR["hardened"]
    state = "still hard" if row.arrival is None else "hard"
    better = f", better {advice.better}" if advice.better else ""
    because = f"if {state}: {operation.replace('-', ' ')}{better}"
    if advice.wakes and advice.odds is not None and advice.odds[1] < 0.97:
        now, later = map(odds_in_tenths, advice.odds[:2])
        because += f" (that new growth ripens is {now} done now, {later} in two weeks)"
    rank = 0 if near or row.arrival is None else 1
    yield Visit(row.tree, row.place, look_for, because, by, rank, operation, row)


def _swelling(row: ForecastRow) -> Iterator[Visit]:
    """Roots are cut as buds swell, where they are due."""
    garden, late = row.garden, row.date_at(0.9)
    early = row.date_at(0.25 if row.guess else 0.1)  # a guess reaches back into winter
    if early is None or not due_for_repotting(garden, row.tree):
        return
    first = early - timedelta(days=SWELLING_DAYS)
    last = late or first + timedelta(days=60)
    if first <= garden.as_of <= last and "bud-swell" in garden.species_of(row.tree).repot:
        waits = better_from(check_work(Case(garden, row.tree, Operation.REPOTTING, garden.as_of)))
        better = f", better {waits}" if waits else ""
        because = f"if swelling, and roots fill the pot: repotting{better}"
        yield Visit(row.tree, row.place, LOOK_FOR["swelling"], because, last, 1, "repotting")


def _by_care(tree: Tree, garden: Garden, due: Sequence[CareDue]) -> Iterator[Visit]:
    """Looks that work done asks for, the latest work speaking; wire that is due; duties of the season."""
    answered, place = set[str](), garden.place_of(tree, garden.as_of).name
    for care in sorted(due, key=lambda c: (c.work.latest, c.work.id) if c.work else _NEVER, reverse=True):
        if care.work is None:
            rank = 0 if care.care in PRESSING else 1 if care.look else 2
            by, operation = care.last if rank < 2 else None, DUTY_OPERATIONS.get(care.care)
            look = rank < 2 and care.care not in PRESSING
            because = SEASON_ASKS.get(care.care, "")
            yield Visit(tree, place, care.what, because, by, rank, operation, look=look)
            continue
        if not care.look or care.care in answered:
            continue
        ago = (garden.as_of - care.work.latest).days
        if care.care == WIRE:
            yield Visit(tree, place, care.what, f"wired {ago} days ago", None, 0, "wire-removal")
        elif not _answered(garden, care):
            answered.add(care.care)
            because = f"{care.work.operation.replace('-', ' ')} {ago} days ago"
            yield Visit(tree, place, care.what, because, care.last)


def _answered(garden: Garden, care: CareDue) -> bool:
    """Whether a look since then has told already: buds that broke, or any look for the rest."""
    rank = stage_rank("budbreak") if care.care == "buds" else 0
    looks = garden.looks_by_tree.get(care.tree.id, [])
    return any(look.earliest >= care.first and stage_rank(look.stage) >= rank for look in looks)


class OpenEnd(NamedTuple):
    """Growth that has no date ahead: what to look for all the same, and whether every week."""

    look_for: str
    because: str
    weekly: bool = True


def growth_without_dates(garden: Garden, tree: Tree) -> OpenEnd | None:
    """Why a tree's growth has no date; None where it has, or nothing is to be said of it."""
    mine = histories_of(garden, tree)
    this = [h for h in mine if h.flush.season == garden.season]
    live = [h for h in this if h.ended is None and not h.lost]
    if not this:
        last = next((h for h in reversed(mine) if h.flush.season == garden.season - 1), None)
        return _carried(garden, last) if last is not None else None
    if not live:
        return _after_loss(garden, this[-1])
    only, fixed = live[-1], garden.species_of(tree).growth == "fixed"
    if fixed and len(live) == 1 and only.number > 1 and only.stage is None and only.flush.started_on:
        day = short_date(only.flush.started_on)
        words = f"a second flush is not taken for granted; if buds break after the work of {day}, note it"
        return OpenEnd("new buds", words, weekly=False)
    return None


def _after_loss(garden: Garden, h: FlushHistory) -> OpenEnd | None:
    """A tree that lost its flush pushes again while days are long."""
    longest = garden.longest_day
    if not h.lost or (longest is not None and garden.today - longest > SHORTENED_DAYS):
        return None
    return OpenEnd("new buds", "its flush was lost; look weekly for new buds, and note when they break")


def _carried(garden: Garden, h: FlushHistory) -> OpenEnd | None:
    """Growth of last season that the season's turn found unfinished, as happens where no winter stops it."""
    began = h.flush.started_on
    if began is None or h.flush.started_by == "season" or h.ended is not None or h.lost or h.worked:
        return None
    growing = h.stage is None or stage_rank(h.stage) <= stage_rank("hardened")
    if not growing or (garden.as_of - began).days > CARRIES_ON_DAYS:
        return None
    goes_on = f"its flush of {short_date(began)} goes on past the season's turn, without dates: look weekly"
    return OpenEnd("what it is at", goes_on)
