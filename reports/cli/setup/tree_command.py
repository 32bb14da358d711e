"""`flushcast tree`: the trees of a garden, one or many at a time."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from phenology.model.records import GrowthAim
from reports.cli.common import open_garden_option, put
from reports.cli.writing.record_editor import committed
from reports.entries.merging import Edit
from reports.entries.trees import add_tree, aim_trees, edit_trees, move_trees, remove_tree, retire_trees
from reports.garden.open_garden import OpenGarden

AIMS = [str(aim) for aim in GrowthAim]


@click.group("tree")
def tree_command() -> None:
    """The trees: add, list, edit, move, aim, retire, remove."""


_OPTIONS = (
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


def _tree_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that describe a tree."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


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
    from reports.cli.setup.tree_list import listing

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
