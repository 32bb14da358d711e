"""The round, what was saved and how the forecast moved, the history."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from starlette.responses import Response

from data_sources.journal_questions import what_a_batch_did
from phenology.advice.agenda import Round, plan_round
from phenology.advice.alike import alike
from phenology.advice.forecast_change import moved_by_looks
from phenology.advice.visits import Visit as Visited
from phenology.model.records import Tree
from reports.views.ahead_text import NOTHING_DECIDES, review_lines, round_cautions
from reports.views.change_text import moved_lines
from reports.views.forecast_text import in_brief
from reports.views.words import capital, full_date, short_date, weekday_full_date
from reports.web.keeper import Known
from reports.web.site import Visit
from reports.web.writing import take_back

HISTORY_SHOWN = 40
NO_OTHER = "No other tree's date moved by more than a few days."


@dataclass(frozen=True)
class Stop:
    """One tree of the round: what to look for there, and why."""

    tree: Tree
    place: str
    lines: tuple[str, ...]


def walk_round(visit: Visit) -> Response:
    """The round, one tree a page: those looked at today or passed over are left out."""
    from reports.web.look_pages import look_form

    keeper = visit.site.keeper
    known = keeper.recent(visit.garden) or keeper.ahead(visit.garden)  # so that nobody waits between trees
    if keeper.ready(visit.garden) is None:
        keeper.warm()
    walk: Round = known.once("round", lambda: plan_round(known.agenda))
    passed = set(visit.texts("passed"))
    last: dict[str, Any] = {"batch": visit.text("saved"), "saved": visit.site.saves.get(visit.text("saved"))}
    looked = _looked_at_today(visit)
    here = {tree.id for tree in visit.garden.trees if tree.retired is None} - passed - looked
    stops = [stop for stop in _stops(walk) if stop.tree.id in here]
    if not stops:
        lines = list(review_lines(walk.review)) if walk.review else []
        if not walk.visits and walk.review is None:
            lines = [NOTHING_DECIDES]
        return visit.page(
            "round_done.html.j2", "Round", day=weekday_full_date(walk.day), lines=lines,
            done=len(looked), **last, cautions=list(round_cautions(walk, known.agenda.garden)),
        )  # fmt: skip
    stop = stops[0]
    onward = "&".join(f"passed={id}" for id in (*sorted(passed), stop.tree.id))
    return visit.page(
        "round.html.j2", f"Round: {stop.tree.label}", stop=stop, left=len(stops) - 1, onward=onward, **last,
        lines=[capital(line) for line in stop.lines], form=look_form(visit, [stop.tree], after="round"),
    )  # fmt: skip


def _stops(walk: Round) -> Iterator[Stop]:
    seen: dict[str, list[str]] = {}
    first: dict[str, Visited] = {}
    for one in walk.visits:
        because = f" {capital(one.because)}." if one.because else ""
        until = f" By {short_date(one.by)}." if one.by is not None else ""
        seen.setdefault(one.tree.id, []).append(f"{one.look_for}.{because}{until}")
        first.setdefault(one.tree.id, one)
    for id, lines in seen.items():
        yield Stop(first[id].tree, first[id].place, tuple(lines))


def _looked_at_today(visit: Visit) -> set[str]:
    day = visit.garden.today
    looks = visit.garden.journal.looks(since=day - timedelta(days=1))
    return {look.tree_id for look in looks if look.latest == day}


def saved(visit: Visit) -> Response:
    """What was written down, with undo; how the forecast moved comes in when it is reckoned."""
    batch = visit.request.path_params["batch"]
    found = what_a_batch_did(visit.garden.journal, batch)
    if found is None:
        return visit.wrong("There is no such change", 404)
    label, undone = found
    told = visit.site.saves.get(batch)
    trees = [tree for tree in visit.garden.trees if told and tree.id in told.trees]
    return visit.page(
        "saved.html.j2", "Saved", batch=batch, said=told.said if told else f"{capital(label)}.",
        minded=told.minded if told else "", undone=undone, trees=trees, told=told is not None,
        after=visit.text("after"),
    )  # fmt: skip


def moved(visit: Visit) -> Response:
    """How the forecast moved, as a part of a page for the script, or as a page without it.

    First the trees that were written of; with `others` what else that moved, for which all are reckoned.
    """
    batch = visit.request.path_params["batch"]
    told, garden, keeper = visit.site.saves.get(batch), visit.garden, visit.site.keeper
    before = told.before if told and told.before and told.before.agenda.garden.as_of == garden.today else None
    lines: list[str] = []
    if told is not None and visit.text("others") and before:
        others = {tree.id for tree in garden.trees} - {*told.trees}
        lines = _moved(before, keeper.ahead(garden), others) or [NO_OTHER]
    elif told is not None:
        now = keeper.of(garden, told.trees)
        lines = [*_in_brief(now, told.trees)]
        if before:
            lines += [f"Before, {row}" for row in _in_brief(before, told.trees) if row not in lines]
            lines += _moved(before, now, told.trees)
    template = "moved_part.html.j2" if visit.text("part") else "moved.html.j2"
    return visit.page(
        template, "How the forecast moved", lines=lines, batch=batch,
        more=bool(before) and not visit.text("others"),
    )  # fmt: skip


def _moved(before: Known, now: Known, trees: Collection[str]) -> list[str]:
    return [*moved_lines(moved_by_looks(before.agenda.forecast, now.agenda.forecast, trees))]


def _in_brief(known: Known, trees: Collection[str]) -> Iterator[str]:
    rows = [row for row in known.agenda.rows if row.tree.id in trees]
    for group in alike(rows):
        yield f"{', '.join(group.labels)}: {in_brief(group)}"


def undo(visit: Visit) -> Response:
    """Take the last change back, if it is the one meant."""
    label = take_back(visit.garden, visit.text("batch") or None)
    visit.site.keeper.warm()
    return visit.page("undone.html.j2", "Taken back", label=label, after=visit.text("after"))


def history(visit: Visit) -> Response:
    """What was written when, newest first."""
    changes = visit.garden.journal.history(limit=HISTORY_SHOWN)
    last = next((c.batch for c in changes if not c.undone and c.undoes is None), None)
    rows = [(full_date(c.at.date()), c.label, c.undone, c.batch == last, c.batch) for c in changes]
    return visit.page("history.html.j2", "History", rows=rows)
