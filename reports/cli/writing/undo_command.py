"""`flushcast undo`: take back what was written."""

from __future__ import annotations

import click

from phenology.model.errors import InputError
from reports.cli.common import open_garden_option, tell
from reports.garden.open_garden import OpenGarden


@click.command("undo")
@click.argument("count", required=False, default=1, type=click.IntRange(1), metavar="[N]")
@click.option("--redo", is_flag=True, help="Do again what the last undo took back.")
@open_garden_option
def undo_command(garden: OpenGarden, count: int, redo: bool) -> None:
    """Take back the last change, or the last N: looks, work, edits, a whole import as one."""
    journal = garden.journal
    standing = [c for c in journal.history() if not c.undone and c.undoes is None] if count > 1 else []
    spared = not redo and 1 < len(standing) <= count  # the making of the garden is undone by itself alone
    labels = (journal.redo if redo else journal.undo)(len(standing) - 1 if spared else count, at=garden.now)
    if not labels:
        raise InputError(f"there is nothing to {'do again' if redo else 'undo'}")
    for label in labels:
        tell(f"{'Did again' if redo else 'Took back'}: {label}.")
    if spared:
        tell(f"Left as it is: {standing[-1].label}.")
    many = f" {len(labels)}" if len(labels) > 1 else ""
    tell(f"To reverse this: flushcast undo{many}{'' if redo else ' --redo'}")
