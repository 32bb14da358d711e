"""Plans of the season as a table: one row a way that a flush leaves open."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import NamedTuple

from phenology.advice.plan import Branch, Plan, PlannedFlush
from phenology.model.records import Tree
from reports.table import Column, Table, each


class PlanRow(NamedTuple):
    """One way that one flush of one tree leaves open; without a way where it is left alone."""

    tree: Tree
    flush: PlannedFlush
    branch: Branch | None


def plans_table(plans: Iterable[Plan]) -> Table[PlanRow]:
    """The plans of some trees."""
    rows = [
        PlanRow(plan.tree, flush, branch)
        for plan in plans
        for flush in plan.flushes
        for branch in (flush.branches or (None,))
    ]
    return Table("flushcast.plan/1", PLAN, rows)


NO_DATES = (None, None, None)
STAGES = {
    f"{stage}.p{p}": f"by when {stage} has come with a chance of {p} %"
    for stage in ("budbreak", "extended", "hardened")
    for p in MIDDLE
}
OPENS = {f"opens.p{p}": f"by when it is open with a chance of {p} %" for p in MIDDLE}


def _stage_date(row: PlanRow, k: int) -> date | None:
    return row.flush.stages.get(list(STAGES)[k].partition(".")[0], NO_DATES)[k % 3]


PLAN: tuple[Column[PlanRow], ...] = (
    Column("tree", "id", lambda row: row.tree.id, "the tree's id"),
    Column("label", "text", lambda row: row.tree.label, "its name"),
    Column("flush", "whole", lambda row: row.flush.number, "1 for the season's own"),
    Column("woken_on", "date", lambda row: row.flush.woken_on, "the work that is taken to wake it"),
    Column("is_hard", "yes", lambda row: row.flush.is_hard, "whether it was seen hard"),
    Column("chance", "number", lambda row: row.flush.chance, "that it is hard this season", digits=3),
    *each(STAGES, "date", _stage_date),
    Column("techniques", "texts", lambda row: row.branch.techniques if row.branch else (), "done together"),
    Column("does", "text", lambda row: row.branch.does if row.branch else row.flush.leave, "in words"),
    Column("when", "text", lambda row: row.branch and row.branch.when, "what it waits for"),
    *each(OPENS, "date", lambda row, k: row.branch and row.branch.opens[k]),
    Column("until", "date", lambda row: row.branch and row.branch.until, "the last point at which it is"),
    Column("ripens", "number", lambda row: row.branch and row.branch.ripens,
           "odds that what it wakes is hard in time", digits=3),
)  # fmt: skip
