"""Trees as a table: species, place, aim, and how they stood at the last look."""

from __future__ import annotations

from datetime import date

from phenology.language.tree_selection import place_of
from phenology.model.records import Aim, Look, Tree
from phenology.model.stages import stage_rank
from phenology.records.flushes import flush_numbers
from reports.cli.writing.desk import Desk, counted, shown_date, table

FLUSHES_SHOWN = 6


def listing(desk: Desk, text: str, *, retired: bool) -> str:
    """The trees named, else all; retired ones only when named or asked for."""
    trees = list(desk.select(text)) if text else [t for t in desk.trees if retired or t.retired is None]
    if not trees:
        return 'No trees yet. Add one with: flushcast tree add "Elm 1" "Ulmus parvifolia"'
    if len(trees) == 1 and text:
        return _one(desk, trees[0])
    names = {p.id: p.name for p in desk.places}
    aims = desk.journal.aims()
    newest: dict[str, Look] = {}
    for look in desk.journal.looks():
        before = newest.get(look.tree_id)
        if before is None or (look.latest, stage_rank(look.stage)) >= (
            before.latest,
            stage_rank(before.stage),
        ):
            newest[look.tree_id] = look
    rows = []
    for tree in trees:
        last = newest.get(tree.id)
        seen = f"{last.stage}, {shown_date(last.earliest, last.latest, desk.today)}" if last else "-"
        if tree.retired is not None:
            seen = f"retired {shown_date(tree.retired, tree.retired, desk.today)}"
        place = names.get(place_of(tree.id, desk.stands, desk.today) or "", "-")
        rows.append([tree.label, tree.species, place, aim_on(aims, tree.id, desk.today), seen])
    headers = ["tree", "species", "place", "aim", "last look"]
    if len(desk.places) == 1:  # said once is said too often
        rows, headers = [[*row[:2], *row[3:]] for row in rows], [*headers[:2], *headers[3:]]
    return table(headers, rows)


def aim_on(aims: list[Aim], tree_id: str, day: date) -> str:
    """What a tree is grown towards on a day: refining unless said otherwise."""
    mine = [a for a in aims if a.tree_id == tree_id and (a.from_date or date.min) <= day]
    return max(mine, key=lambda a: a.from_date or date.min).aim if mine else "refining"


def _one(desk: Desk, tree: Tree) -> str:
    """Everything known of one tree."""
    names = {p.id: p.name for p in desk.places}
    looks, works = desk.journal.looks(tree.id), desk.journal.works(tree.id)
    lines = [f"{tree.label}: {tree.species}"]
    for stand in desk.journal.stands(tree.id):
        since = f" from {_day(desk, stand.from_date)}" if stand.from_date else ""
        lines.append(f"  stands on {names[stand.place_id]}{since}")
    for aim in desk.journal.aims(tree.id):
        since = f" from {_day(desk, aim.from_date)}" if aim.from_date else ""
        lines.append(f"  aim {aim.aim}{since}")
    for name in ("pot", "vigour", "grown_for", "note"):
        value = getattr(tree, name)
        if value:
            lines.append(f"  {name.replace('_', ' ')}: {value}")
    for name in ("last_repot", "retired"):
        value = getattr(tree, name)
        if value:
            lines.append(f"  {name.replace('_', ' ')}: {_day(desk, value)}")
    lines.append(f"  {counted(len(looks), 'looks')}, {counted(len(works), 'works')}")
    if looks:
        last = looks[-1]
        lines.append(f"  last look: {last.stage}, {shown_date(last.earliest, last.latest, desk.today)}")
    if works:
        done = works[-1]
        lines.append(f"  last work: {done.operation}, {shown_date(done.earliest, done.latest, desk.today)}")
    return "\n".join([*lines, *_flushes(desk, tree, looks)])


def _flushes(desk: Desk, tree: Tree, looks: list[Look]) -> list[str]:
    """The newest flushes, a line each: what began them, how far they were seen, how they ended."""
    flushes = desk.journal.flushes(tree.id)
    numbers = flush_numbers(flushes, desk.calendar)
    works = {w.id: w for w in desk.journal.works(tree.id)}
    furthest: dict[str, str] = {}
    for look in sorted(looks, key=lambda k: stage_rank(k.stage)):
        furthest[look.flush_id] = look.stage
    newest = sorted(flushes, key=lambda f: (f.season, numbers[f.id]), reverse=True)[:FLUSHES_SHOWN]
    rows = []
    for f in newest:
        began = {"season": "the season", "seen": "seen"}.get(f.started_by, "work")
        if f.work_id in works:
            began = works[f.work_id].operation
        if f.started_on:
            began += f", {_day(desk, f.started_on)}"
        extra = [f.cause or "", f"part: {f.part}" if f.part else ""]
        if f.ended_on:
            extra.append(f"ended {_day(desk, f.ended_on)}: {f.ended_why}")
        name = f"{desk.calendar.label(f.season)} flush {numbers[f.id]}"
        rows.append([name, began, furthest.get(f.id, "-"), "; ".join(filter(None, extra))])
    return ["", table(["", "begun by", "seen to", ""], rows)] if rows else []


def _day(desk: Desk, day: date) -> str:
    return shown_date(day, day, desk.today)
