"""What the records say of each flush: when its stages came, and the waits that can be learned from."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from operator import is_
from typing import cast

from phenology.garden import Garden
from phenology.learning.transitions import TARGETS, Transition
from phenology.learning.waits import Wait
from phenology.model.errors import StageOrderError
from phenology.model.operations import HALVING_JOINS
from phenology.model.records import Flush, Look, Site, Tree, Work
from phenology.model.season import NEVER
from phenology.model.stages import Stage, stage_rank
from phenology.records.flushes import LEAFLESS_DAYS, flush_numbers
from phenology.records.intervals import FIRST_LOOK_REACH, Sight, anchored, stage_interval

SHOWS_HARDENED = ("cutback", "halving", "partial-defoliation", "full-defoliation")
"""Work that, without a look, shows its flush hardened no later than that day (unless marked early)."""

WORK_REACH = 35.0
"""Leaves that only work shows hard became so within this before it (ours): weak evidence. [days]"""


WIDEST_DAYS = 35.0
"""Looks further apart than this bracket a stage too loosely for its middle to be told as a date (ours)."""


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class FlushHistory:
    """One flush as far as it is known, in days of its season."""

    tree: Tree
    flush: Flush
    number: int  # 1 for the first flush of its tree's season, by date
    site: Site  # the weather the tree stood in
    # for budbreak, extended and hardened: the interval (after, by], where looks or work say anything
    came: dict[str, tuple[float, float]]
    woken: tuple[float, float] | None  # when the work that woke it was done
    stage: str | None  # latest stage seen
    last_look: float | None  # day of the last look
    ended: float | None  # day on which its observation ended
    # checked and lost: marks on the last look
    checked: bool = False
    lost: bool = False
    worked: bool = False  # whether the work that its hardening opens has been done
    put_off: tuple[float, float] | None = None  # between how many days after its hardening that work came
    by_work: bool = False  # whether that work alone says by when it was hard
    # why a stage could not be placed: looks that go backward, most often imported; empty if none do
    contradiction: str = ""
    # for stages without an earlier look: within how many days before `by` they came. A first look that
    # finds a flush just at a stage is taken to be a fresh one; a first look at a later stage says nothing.
    reach: dict[str, float] = field(default_factory=dict)
    _waits: dict[Transition, Wait | None] = field(default_factory=dict)

    @property
    def seen_to_stop(self) -> bool | None:
        """Whether shoots were seen to stop before the leaves were hard; None where looks do not reach so far.

        Hard leaves imply it, but one look that shows both at once has not seen it.
        """
        hard, stopped = self.came.get("hardened"), self.came.get("extended")
        if hard is None or not math.isfinite(hard[0]) or hard[1] == NEVER:
            return None
        if stopped is None or not math.isfinite(stopped[0]):
            return None
        return stopped[1] < hard[1]

    @property
    def is_hard(self) -> bool:
        """Whether it was seen hard, or beyond that."""
        return self.stage is not None and stage_rank(self.stage) >= stage_rank("hardened")

    def bracket(self, stage: str) -> tuple[float, float] | None:
        """The looks either side of a stage, where both are on record; None otherwise."""
        after, by = self.came.get(stage, (-math.inf, math.inf))
        return (after, by) if math.isfinite(after) and math.isfinite(by) else None

    def dated(self, stage: str) -> tuple[float, float] | None:
        """The same where the two stand close enough for their middle to be a date."""
        found = self.bracket(stage)
        return found if found is not None and found[1] - found[0] <= WIDEST_DAYS else None

    def begun(self, start: str) -> tuple[float, float] | None:
        """When a wait that begins at `start` began; None when unknown or not yet."""
        if start == "start":
            return (0.0, 0.0) if self.woken is None and self.flush.started_by == "season" else None
        if start == "work":
            return self.woken
        interval = self.came.get(start)
        if interval is None or interval[1] == NEVER:
            return None
        return anchored(interval)

    def wait(self, transition: Transition) -> Wait | None:
        """The wait over a transition, if both its ends are known well enough to learn from."""
        if transition not in self._waits:
            self._waits[transition] = self._wait(transition)
        return self._waits[transition]

    def _wait(self, transition: Transition) -> Wait | None:
        begun, ended = self.begun(transition.start), self.came.get(transition.target)
        if begun is None or ended is None:
            return None
        if self.came.get(transition.start, (0.0,))[0] == -math.inf and transition.start not in self.reach:
            return None  # the first look found a later stage: when this one came, nobody knows
        after = max(ended[0], begun[0])
        if ended[1] == NEVER and after <= begun[1]:
            return None  # no look since it began: nothing is known of the wait
        open_start = self.came.get(transition.start, begun)[0] == -math.inf
        if ended[1] - begun[1] < 1 and (ended[0] == -math.inf or open_start):
            return None  # both ends rest on one and the same first look
        if ended[0] == -math.inf and transition.target in self.reach:
            after = max(after, min(ended[1] - self.reach[transition.target], ended[1] - 1))
        return Wait(
            self.tree.species,
            self.tree.id,
            self.flush.season,
            self.number > 1,
            begun,
            (after, ended[1]),
            self.site,
        )


def histories(garden: Garden) -> list[FlushHistory]:
    """Every flush in the garden's records, tree by tree."""
    return [h for tree in garden.trees for h in histories_of(garden, tree)]


def histories_of(garden: Garden, tree: Tree) -> list[FlushHistory]:
    """The flushes of one tree, oldest first."""
    known = cast(tuple[Tree, list[FlushHistory]] | None, garden.by_tree.get(("histories", tree.id)))
    if known is not None and known[0] is tree:
        return known[1]
    out: list[FlushHistory] = []
    garden.by_tree["histories", tree.id] = tree, out
    for season, mine in itertools.groupby(garden.flushes_by_tree.get(tree.id, []), lambda f: f.season):
        out += _of_season(garden, tree, season, list(mine))
    return out


def _of_season(garden: Garden, tree: Tree, season: int, flushes: list[Flush]) -> list[FlushHistory]:
    """The flushes of a season; worked out once for all gardens that hold the very same records of it."""
    looks = [look for flush in flushes for look in garden.looks_by_flush.get(flush.id, ())]
    works, ids = garden.works_of_season.get((tree.id, season), ()), {flush.work_id for flush in flushes}
    waking = [work for work in garden.works_by_tree.get(tree.id, ()) if work.id in ids]
    records = (tree, *flushes, *looks, *works, *waking)
    key, stood = (tree.id, season), (garden.site(tree, season), garden.calendar)
    kept = cast(tuple[object, Sequence[object], list[FlushHistory]] | None, garden.worked_out.get(key))
    same = kept is not None and kept[0] == stood and len(kept[1]) == len(records)
    if kept is None or not same or not all(map(is_, kept[1], records)):
        numbers = flush_numbers(flushes, garden.calendar)
        shaping = [work for work in works if work.operation in SHOWS_HARDENED]
        found = []
        for flush in flushes:
            work = _closing_work(garden, flush, flushes, shaping) if shaping else None
            woken_by = next((one for one in waking if one.id == flush.work_id), None)
            found.append(_history(garden, tree, flush, numbers[flush.id], work, woken_by))
        kept = garden.worked_out[key] = (stood, records, found)
    return kept[2]


def _history(
    garden: Garden, tree: Tree, flush: Flush, number: int, work: Work | None, woken_by: Work | None
) -> FlushHistory:
    """The history of a flush, of the work that its hardening opened and the work that woke it."""
    start = garden.calendar.start(flush.season)
    looks = garden.looks_by_flush.get(flush.id, [])
    sights = _sights(flush, [look for look in looks if not look.lost], start)  # what was lost shows no stage
    ended = _t(start, flush.ended_on) if flush.ended_on else None
    shown = list(_shown_by_work(work, looks, start))
    sights += shown
    came, contradiction = _came(sights)
    if work is not None and work.early:
        came = _not_hard_by(came, _t(start, work.earliest))
    woken = None
    if woken_by is not None:
        woken = (_t(start, woken_by.earliest) - 1, _t(start, woken_by.latest))
    put_off = None
    if work is not None and not work.early and "hardened" in came and came["hardened"][0] != -math.inf:
        done = _t(start, work.latest)
        put_off = (max(done - came["hardened"][1], 0.0), done - came["hardened"][0])
    last = looks[-1] if looks else None
    return FlushHistory(
        tree,
        flush,
        number,
        garden.site(tree, flush.season),
        came,
        woken,
        last.stage if last else None,
        _t(start, last.latest) if last else None,
        ended,
        bool(last and last.checked),
        any(v.lost for v in looks) or flush.ended_why == "lost",
        work is not None,
        put_off,
        bool(shown),
        contradiction,
        _reach(sights, shown),
    )


def _sights(flush: Flush, looks: list[Look], start: date) -> list[Sight]:
    """What the looks say of the flush as a whole.

    A look at a part counts only where none speaks for the whole. Of several looks on one day the latest
    stage stands. Growth that was checked has stopped, but neither extended nor hardened.
    """
    whole = [look for look in looks if look.part is None or look.part == flush.part] or looks
    of_days: list[Look] = []
    for look in whole:  # oldest first
        last = of_days[-1] if of_days else None
        if last is None or last.latest != look.latest or last.earliest != look.earliest:
            of_days.append(look)
        elif look.stage.rank > last.stage.rank:
            of_days[-1] = look
    sights, before_first = [], start.toordinal() - 1
    for look in of_days:
        stage: str = look.stage
        latest = float(look.latest.toordinal() - before_first)
        vague = look.earliest is not look.latest
        earliest = float(look.earliest.toordinal() - before_first) if vague else latest
        if look.checked:  # what had come before growth was checked has come
            before = [one.stage for one in of_days if not one.checked and one.latest <= look.earliest]
            reached = max([_stage(look), *before], key=stage_rank)
            stage = min(look.stage, reached, key=stage_rank)
        sights.append(Sight(earliest, latest, stage, look.kind))
    return sights


def _stage(look: Look) -> str:
    return "extending" if look.checked and look.stage in ("extended", "hardened") else look.stage


def _came(sights: list[Sight]) -> tuple[dict[str, tuple[float, float]], str]:
    """When each stage came; with looks that contradict each other, only what they leave certain, and why."""
    came: dict[str, tuple[float, float]] = {}
    contradiction = ""
    for stage in TARGETS:
        try:
            interval = stage_interval(sights, stage)
        except StageOrderError as error:
            contradiction = contradiction or str(error)
            continue
        if interval:
            came[stage] = interval
    return came, contradiction


def _reach(sights: list[Sight], by_work: list[Sight]) -> dict[str, float]:
    """How far back a stage may lie that the first sight of it, or of anything later, finds just come."""
    out = {}
    ranked = sorted([(s.latest, stage_rank(s.stage), k) for k, s in enumerate(sights)])
    for stage in TARGETS:
        rank = stage_rank(stage)
        for _, shown, k in ranked:
            if shown >= rank:
                if shown == rank:
                    out[stage] = WORK_REACH if sights[k] in by_work else FIRST_LOOK_REACH
                break
    return out


def _shown_by_work(work: Work | None, looks: list[Look], start: date) -> Iterator[Sight]:
    """The weak evidence of work: done without a look, it says hardened by then."""
    if work is None or work.early:
        return
    if all(look.latest < work.latest and look.stage.rank < Stage.HARDENED.rank for look in looks):
        t = _t(start, work.latest)
        yield Sight(t, t, "hardened")


def _not_hard_by(came: dict[str, tuple[float, float]], t: float) -> dict[str, tuple[float, float]]:
    """Work marked early says that leaves were not hard yet; a look that says they were has the last word."""
    after, by = came.get("hardened", (-math.inf, NEVER))
    return {**came, "hardened": (max(after, t), by)} if by > t else came


def _closing_work(
    garden: Garden, flush: Flush, flushes: Sequence[Flush], shaping: Sequence[Work]
) -> Work | None:
    """The first shaping work of the season after this flush began, before the next one did."""
    began = flush.started_on
    ends = [
        f.started_on
        for f in flushes
        if f.id != flush.id and f.started_on and (not began or f.started_on > began)
    ]
    until = min(ends, default=None)
    for work in shaping:
        if work.id == flush.work_id:
            continue
        if (began and work.latest <= began) or (until and work.latest > until):
            continue
        if began and work.operation == "halving" and (work.latest - began).days <= HALVING_JOINS:
            continue  # it belongs to the cut that woke this flush
        if work.operation == "cutback" and _leafless(garden, flush, work):
            continue
        return work
    return None


def _leafless(garden: Garden, flush: Flush, work: Work) -> bool:
    """Whether a cut came before the season's own flush had leaves: it pruned, and shows nothing hardened."""
    if flush.started_by != "season" or garden.calendar.day(work.latest) > LEAFLESS_DAYS:
        return False
    looks = garden.looks_by_flush.get(flush.id, [])
    return not any(v.latest <= work.latest and stage_rank(v.stage) >= stage_rank("budbreak") for v in looks)


def _t(start: date, day: date) -> float:
    return float(day.toordinal() - start.toordinal() + 1)
