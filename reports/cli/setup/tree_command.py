"""`flushcast tree`: the trees of a garden."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from phenology.model.records import GrowthAim
from reports.cli.common import garden_option, put

AIMS = [str(aim) for aim in GrowthAim]


@click.group("tree")
def tree_command() -> None:
    """The trees: add, list, edit, move, aim, retire, remove."""


_OPTIONS = [
    click.option("--pot", metavar="TEXT", help="The pot."),
    click.option("--last-repot", metavar="DATE", help="When it was last repotted."),
    click.option("--vigour", metavar="WORD", help="weak, normal, strong ..."),
    click.option(
        "--grown-for", type=click.Choice(["leaf", "flower", "fruit", ""]), help="What it is grown for."
    ),
    click.option("--note", metavar="TEXT", help="Anything else."),
]


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
@garden_option
def add(
    garden: Path,
    label: str,
    species: str,
    place: str | None,
    aim: str | None,
    since: str | None,
    **given: str | None,
) -> None:
    """Add a tree: flushcast tree add "Elm 1" "Ulmus parvifolia"."""
    from reports.cli.setup import tree_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        tree_changes.add(desk, label, species, place, aim, since, given)


@tree_command.command("list")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@click.option("--retired", is_flag=True, help="Retired trees too.")
@garden_option
def list_trees(garden: Path, trees: tuple[str, ...], retired: bool) -> None:
    """List trees: species, place, aim, and how they stand."""
    from reports.cli.setup import tree_list
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        put(tree_list.listing(desk, " ".join(trees), retired=retired))


@tree_command.command("edit")
@click.argument("trees")
@click.option("--label", metavar="LABEL", help="A new label (one tree).")
@click.option("--species", metavar="SPECIES", help="Another species.")
@_tree_options
@garden_option
def edit(garden: Path, trees: str, label: str | None, species: str | None, **given: str | None) -> None:
    """Change one tree or many; what is not given stays, '' empties."""
    from reports.cli.setup import tree_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        tree_changes.edit(desk, trees, label, species, given)


@tree_command.command("move")
@click.argument("trees")
@click.argument("place")
@click.option("--date", "when", metavar="DATE", help="From when (default: today).")
@garden_option
def move(garden: Path, trees: str, place: str, when: str | None) -> None:
    """Trees stand elsewhere from a day on; heat is counted where they stand."""
    from reports.cli.setup import tree_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        tree_changes.move(desk, trees, place, when)


@tree_command.command("aim")
@click.argument("trees")
@click.argument("aim", type=click.Choice(AIMS))
@click.option("--date", "when", metavar="DATE", help="From when (default: today).")
@garden_option
def aim(garden: Path, trees: str, aim: str, when: str | None) -> None:
    """What trees are grown towards from a day on. Only refining trees are told to cut."""
    from reports.cli.setup import tree_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        tree_changes.set_aim(desk, trees, aim, when)


@tree_command.command("retire")
@click.argument("trees")
@click.option("--date", "when", metavar="DATE", help="From when (default: today).")
@click.option("--back", is_flag=True, help="Take trees back in.")
@garden_option
def retire(garden: Path, trees: str, when: str | None, back: bool) -> None:
    """Trees that are sold or dead; their records stay and still teach."""
    from reports.cli.setup import tree_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        tree_changes.retire(desk, trees, when, back=back)


@tree_command.command("remove")
@click.argument("tree")
@garden_option
def remove(garden: Path, tree: str) -> None:
    """Remove a tree that was added by mistake and has no looks or work."""
    from reports.cli.setup import tree_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        tree_changes.remove(desk, tree)
