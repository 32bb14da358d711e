"""A plan of the season in words: each flush with its dates, and the ways that the craft leaves open."""

from __future__ import annotations

from collections.abc import Iterator

from phenology.advice.forecast_rows import Dates
from phenology.advice.plan import Branch, Plan, PlannedFlush
from phenology.language.date_style import date_range, short_date
from phenology.work.grades import odds_in_tenths

STAGES = {"budbreak": "buds break", "extended": "stops lengthening", "hardened": "hard"}


def plan_lines(plan: Plan) -> Iterator[tuple[int, str]]:
    """Lines with how far each is set in."""
    stop = "" if plan.last_safe is None else f"; last safe day to wake growth {short_date(plan.last_safe)}"
    yield 0, f"{plan.tree.label}{stop}"
    if plan.why:
        yield 2, f"no plan: {plan.why}"
    for flush in plan.flushes:
        yield 2, _flush(flush)
        if flush.leave:
            yield 4, flush.leave
        for k, branch in enumerate(flush.branches):
            yield 4, f"{'or ' if k else ''}{_branch(branch)}"


def _flush(flush: PlannedFlush) -> str:
    begins = f"flush {flush.number}"
    if flush.woken_on is not None:
        begins += f", if it is woken about {short_date(flush.woken_on)}"
    stages = [f"{STAGES[stage]} {_dates(dates)}" for stage, dates in flush.stages.items() if dates[1]]
    if flush.is_hard:
        stages = ["hard"]
    dates = "; ".join(stages) or "no dates yet"
    if flush.chance < 0.9:
        dates += f"; {odds_in_tenths(flush.chance)} that it is hard this season"
    return f"{begins}: {dates}"


def _branch(branch: Branch) -> str:
    opens, until = _dates(branch.opens), ""
    when = f"{branch.when}, about {opens}" if branch.opens[1] else branch.when
    if branch.until is not None:
        until = f", until {short_date(branch.until)}"
    odds = "" if branch.ripens is None else f"; {odds_in_tenths(branch.ripens)} that what it wakes ripens"
    return f"{when}{until}: {branch.does}{odds}"


def _dates(dates: Dates) -> str:
    early, middle, late = dates
    if middle is None:
        return ""
    if early is None or late is None or early == late:
        return short_date(middle)
    return f"{short_date(middle)} ({date_range(early, late)})"
