"""Trees as a table: species, place, aim, and how they stood at the last look."""

from __future__ import annotations

from datetime import date

from phenology.records import Aim, Look, Tree
from phenology.stages import stage_rank
from phenology.tree_selection import place_of
from reports.cli.desk import Desk, shown_date, table


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
    lines.append(f"  {len(looks)} looks, {len(works)} works")
    if looks:
        last = looks[-1]
        lines.append(f"  last look: {last.stage}, {shown_date(last.earliest, last.latest, desk.today)}")
    if works:
        done = works[-1]
        lines.append(f"  last work: {done.operation}, {shown_date(done.earliest, done.latest, desk.today)}")
    return "\n".join(lines)


def _day(desk: Desk, day: date) -> str:
    return shown_date(day, day, desk.today)
