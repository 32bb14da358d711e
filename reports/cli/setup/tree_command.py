"""`flushcast tree`: the trees of a garden, one or many at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

import click

from phenology.language.tree_selection import place_of
from phenology.model.records import Aim, GrowthAim, Look, Tree
from phenology.records.entries import stage_now
from phenology.records.flushes import flush_numbers
from reports.cli.common import committed, open_garden_option, put, together
from reports.entries.merging import Edit
from reports.entries.trees import add_tree, aim_trees, edit_trees, move_trees, remove_tree, retire_trees
from reports.garden.open_garden import OpenGarden
from reports.views.words import counted, shown_date, table

AIMS = [str(aim) for aim in GrowthAim]
FLUSHES_SHOWN = 6


@click.group("tree")
def tree_command() -> None:
    """The trees: add, list, edit, move, aim, retire, remove."""


_tree_options = together(
    click.option("--pot", metavar="TEXT", help="The pot."),
    click.option("--last-repot", metavar="DATE", help="When it was last repotted."),
    click.option("--vigour", metavar="WORD", help="weak, normal, strong ..."),
    click.option(
        "--grown-for", type=click.Choice(["leaf", "flower", "fruit", ""]), help="What it is grown for."
    ),
    click.option("--note", metavar="TEXT", help="Anything else."),
    open_garden_option,
)
_from_when = click.option("--date", "when", metavar="DATE", help="From when (default: today).")


@tree_command.command("add")
@click.argument("label")
@click.argument("species")
@click.option("--place", metavar="PLACE", help="Where it stands (default: the first place).")
@click.option("--aim", type=click.Choice(AIMS), help="What it is grown towards (refining unless said).")
@click.option("--since", metavar="DATE", help="From when place and aim hold (default: from the beginning).")
@_tree_options
@committed
def add(
    garden: OpenGarden, place: str | None, aim: str | None, since: str | None, **typed: str | None
) -> Edit:
    """Add a tree: flushcast tree add "Elm 1" "Ulmus parvifolia"."""
    return add_tree(garden, typed, place, aim, since)


@tree_command.command("list")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@click.option("--retired", is_flag=True, help="Retired trees too.")
@open_garden_option
def list_trees(garden: OpenGarden, trees: tuple[str, ...], retired: bool) -> None:
    """List trees: species, place, aim, and how they stand."""

    put(listing(garden, " ".join(trees), retired=retired))


@tree_command.command("edit")
@click.argument("trees")
@click.option("--label", metavar="LABEL", help="A new label (one tree).")
@click.option("--species", metavar="SPECIES", help="Another species.")
@_tree_options
@committed
def edit(garden: OpenGarden, trees: str, **typed: str | None) -> Edit:
    """Change one tree or many; what is not given stays, '' empties."""
    return edit_trees(garden, trees, typed)


@tree_command.command("move")
@click.argument("trees")
@click.argument("place")
@_from_when
@open_garden_option
@committed
def move(garden: OpenGarden, trees: str, place: str, when: str | None) -> Edit:
    """Trees stand elsewhere from a day on; heat is counted where they stand."""
    return move_trees(garden, trees, place, when)


@tree_command.command("aim")
@click.argument("trees")
@click.argument("aim", type=click.Choice(AIMS))
@_from_when
@open_garden_option
@committed
def aim(garden: OpenGarden, trees: str, aim: str, when: str | None) -> Edit:
    """What trees are grown towards from a day on. Only refining trees are told to cut."""
    return aim_trees(garden, trees, aim, when)


@tree_command.command("retire")
@click.argument("trees")
@_from_when
@click.option("--back", is_flag=True, help="Take trees back in.")
@open_garden_option
@committed
def retire(garden: OpenGarden, trees: str, when: str | None, back: bool) -> Edit:
    """Trees that are sold or dead; their records stay and still teach."""
    return retire_trees(garden, trees, when, back=back)


@tree_command.command("remove")
@click.argument("tree")
@open_garden_option
@committed
def remove(garden: OpenGarden, tree: str) -> Edit:
    """Remove a tree that was added by mistake and has no looks or work."""
    return remove_tree(garden, tree)


def listing(garden: OpenGarden, text: str, *, retired: bool) -> str:
    """The trees named, else all; retired ones only when named or asked for."""
    trees = garden.select(text) if text else [t for t in garden.trees if retired or t.retired is None]
    if not trees:
        return 'No trees yet. Add one with: flushcast tree add "Elm 1" "Ulmus parvifolia"'
    if len(trees) == 1 and text:
        return "\n".join(_one(garden, trees[0]))
    names = {place.id: place.name for place in garden.places}
    aims = garden.journal.aims()
    looks: dict[str, list[Look]] = {}
    for look in garden.journal.looks():
        looks.setdefault(look.tree_id, []).append(look)
    rows = []
    for tree in trees:
        last = stage_now(looks.get(tree.id, ()))
        seen = f"{last.stage}, {shown_date(last.earliest, last.latest, garden.today)}" if last else "-"
        if tree.retired is not None:
            seen = f"retired {_day(garden, tree.retired)}"
        place = names.get(place_of(tree.id, garden.stands, garden.today) or "", "-")
        rows.append([tree.label, tree.species, place, aim_on(aims, tree.id, garden.today), seen])
    headers = ["tree", "species", "place", "aim", "last look"]
    if len(garden.places) == 1:  # said once is said too often
        rows, headers = [[*row[:2], *row[3:]] for row in rows], [*headers[:2], *headers[3:]]
    return table(headers, rows)


def aim_on(aims: Sequence[Aim], tree_id: str, day: date) -> GrowthAim:
    """What a tree is grown towards on a day: refining unless said otherwise."""
    mine = [aim for aim in aims if aim.tree_id == tree_id and (aim.from_date or date.min) <= day]
    return max(mine, key=lambda aim: aim.from_date or date.min).aim if mine else GrowthAim.REFINING


def _one(garden: OpenGarden, tree: Tree) -> Iterator[str]:
    """Everything known of one tree, line by line."""
    journal, names = garden.journal, {place.id: place.name for place in garden.places}
    looks, works = journal.looks(tree.id), journal.works(tree.id)
    yield f"{tree.label}: {tree.species}"
    held = [(f"stands on {names[s.place_id]}", s.from_date) for s in journal.stands(tree.id)]
    held += [(f"aim {a.aim}", a.from_date) for a in journal.aims(tree.id)]
    for words, since in held:
        yield f"  {words}{f' from {_day(garden, since)}' if since else ''}"
    for name in ("pot", "vigour", "grown_for", "note", "last_repot", "retired"):
        value = getattr(tree, name)
        if value:
            yield f"  {name.replace('_', ' ')}: {_day(garden, value) if isinstance(value, date) else value}"
    yield f"  {counted(len(looks), 'looks')}, {counted(len(works), 'works')}"
    for last in looks[-1:]:
        yield f"  last look: {last.stage}, {shown_date(last.earliest, last.latest, garden.today)}"
    for done in works[-1:]:
        yield f"  last work: {done.operation}, {shown_date(done.earliest, done.latest, garden.today)}"
    yield from _flushes(garden, tree, looks)


def _flushes(garden: OpenGarden, tree: Tree, looks: list[Look]) -> Iterator[str]:
    """The newest flushes, a line each: what began them, how far they were seen, how they ended."""
    flushes = garden.journal.flushes(tree.id)
    numbers = flush_numbers(flushes, garden.calendar)
    works = {work.id: work for work in garden.journal.works(tree.id)}
    furthest = {look.flush_id: look.stage for look in sorted(looks, key=lambda look: look.stage.rank)}
    newest = sorted(flushes, key=lambda f: (f.season, numbers[f.id]), reverse=True)[:FLUSHES_SHOWN]
    rows = []
    for f in newest:
        began = {"season": "the season", "seen": "seen"}.get(f.started_by, "work")
        if f.work_id in works:
            began = works[f.work_id].operation
        if f.started_on:
            began += f", {_day(garden, f.started_on)}"
        extra = [f.cause or "", f"part: {f.part}" if f.part else ""]
        if f.ended_on:
            extra.append(f"ended {_day(garden, f.ended_on)}: {f.ended_why}")
        name = f"{garden.calendar.label(f.season)} flush {numbers[f.id]}"
        rows.append([name, began, furthest.get(f.id, "-"), "; ".join(filter(None, extra))])
    if rows:
        yield "\n" + table(["", "begun by", "seen to", ""], rows)


def _day(garden: OpenGarden, day: date) -> str:
    return shown_date(day, day, garden.today)
