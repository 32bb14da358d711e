"""`flushcast undo`: take back what was written."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import garden_option


@click.command("undo")
@click.argument("count", required=False, default=1, type=click.IntRange(1), metavar="[N]")
@click.option("--redo", is_flag=True, help="Do again what the last undo took back.")
@garden_option
def undo_command(garden: Path, count: int, redo: bool) -> None:
    """Take back the last change, or the last N: looks, work, edits, a whole import as one."""
    from phenology.model.errors import InputError
    from reports.cli.writing.desk import open_desk, tell
    from reports.garden.timestamp import moment_on

    with open_desk(garden) as desk:
        take = desk.journal.redo if redo else desk.journal.undo
        standing = (
            [c for c in desk.journal.history() if not c.undone and c.undoes is None] if count > 1 else []
        )
        spared = not redo and 1 < len(standing) <= count  # the making of the garden is undone by itself alone
        labels = take(len(standing) - 1 if spared else count, at=moment_on(desk.today))
        if not labels:
            raise InputError(f"there is nothing to {'do again' if redo else 'undo'}")
        for label in labels:
            tell(f"{'Did again' if redo else 'Took back'}: {label}.")
        if spared:
            tell(f"Left as it is: {standing[-1].label}.")
        many = f" {len(labels)}" if len(labels) > 1 else ""
        tell(f"To reverse this: flushcast undo{many}{'' if redo else ' --redo'}")
