"""`flushcast history`: what was written, in plain words."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import garden_option, put


@click.command("history")
@click.argument("tree", nargs=-1, metavar="[TREE]")
@click.option(
    "--limit", type=click.IntRange(1), default=30, metavar="N", help="How many changes (default: 30)."
)
@garden_option
def history_command(garden: Path, tree: tuple[str, ...], limit: int) -> None:
    """Tell what was written when, newest first: all of it, or what touched one tree."""
    from phenology.model.errors import InputError
    from reports.cli.writing.desk import open_desk
    from reports.cli.writing.history_text import history_text

    with open_desk(garden) as desk:
        tree_id = None
        if tree:
            chosen = desk.select(" ".join(tree))
            if len(chosen) > 1:
                raise InputError(
                    f"'{' '.join(tree)}' is {desk.names(chosen)}; history takes one tree at a time"
                )
            tree_id = chosen[0].id
        changes = desk.journal.history(tree_id, limit)
        put(history_text(changes, desk.today))
