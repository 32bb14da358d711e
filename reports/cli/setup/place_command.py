"""`flushcast place`: the spots where trees stand."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from reports.cli.common import garden_option, put


@click.group("place")
def place_command() -> None:
    """The spots where trees stand: add, list, edit, remove."""


_OPTIONS = [
    click.option("--lat", metavar="DEGREES", help="Latitude; default: as the first place."),
    click.option("--lon", metavar="DEGREES", help="Longitude; default: as the first place."),
    click.option("--elevation", metavar="METRES", help="Above the sea; '1017ft' is understood."),
    click.option("--cover", metavar="WORD", help="open, shade net, cold frame, greenhouse ..."),
    click.option("--sun", metavar="WORD", help="full, half, morning, shade ..."),
    click.option("--timezone", metavar="ZONE", help="Such as Europe/Zurich."),
    click.option("--note", metavar="TEXT", help="Anything else."),
]


def _place_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that describe a place."""
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@place_command.command("add")
@click.argument("name")
@_place_options
@garden_option
def add(garden: Path, name: str, **given: str | None) -> None:
    """Add a place; position and height are those of the first place unless given."""
    from reports.cli.setup import place_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        place_changes.add(desk, name, given)


@place_command.command("list")
@garden_option
def list_places(garden: Path) -> None:
    """List places and how many trees stand there."""
    from reports.cli.setup import place_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        put(place_changes.listing(desk))


@place_command.command("edit")
@click.argument("name")
@click.option("--name", "new_name", metavar="NAME", help="A new name.")
@_place_options
@garden_option
def edit(garden: Path, name: str, new_name: str | None, **given: str | None) -> None:
    """Change a place; what is not given stays, '' empties."""
    from reports.cli.setup import place_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        place_changes.edit(desk, name, new_name, given)


@place_command.command("remove")
@click.argument("name")
@garden_option
def remove(garden: Path, name: str) -> None:
    """Remove a place where no tree ever stood."""
    from reports.cli.setup import place_changes
    from reports.cli.writing.desk import open_desk

    with open_desk(garden) as desk:
        place_changes.remove(desk, name)
