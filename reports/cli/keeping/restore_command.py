"""`flushcast restore`: put a backup in the journal's place, after a look at what that changes."""

from __future__ import annotations

from pathlib import Path

import click

from data_sources.garden import JOURNAL_NAME
from data_sources.journal import Restore, restore
from data_sources.kept.last_restore import remember_restore
from data_sources.look_photos import FOLDER as PHOTOS
from data_sources.look_photos import copy_photos, photo_ids, photos_of_backup
from data_sources.sqlite.backups import FOLDER
from reports.cli.common import may_ask, open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden
from reports.text.lines import counted, table
from reports.text.table_names import TABLE_NAMES


@click.command("restore")
@click.argument("backup", required=False, type=click.Path(path_type=Path), metavar="[BACKUP]")
@click.option("--yes", is_flag=True, help="Do it; without this only what it would change is told.")
@open_garden_option
def restore_command(garden: OpenGarden, backup: Path | None, yes: bool) -> None:
    """Check a backup and tell what it would change; with --yes, put it in place.

    BACKUP: a file, or the name of one in the garden's backups (default: the newest good one). The journal of
    before is kept.
    """
    journal = garden.folder / JOURNAL_NAME
    source = backup
    if source is not None and not source.exists() and (garden.folder / FOLDER / source.name).exists():
        source = garden.folder / FOLDER / source.name
    plan = restore(journal, source, dry_run=True)
    kept, own = photos_of_backup(plan.source), garden.folder / PHOTOS
    photos = len(photo_ids(kept) - photo_ids(own))
    put(plan_text(plan))
    if photos:
        put(f"{counted(photos, 'photos')} beside it that the garden lacks: to come back.")
    if plan.nothing_changes and not photos:
        return
    if not yes and may_ask():
        yes = click.confirm("Put it in place?", default=False, err=True)
    if not yes:
        tell("Nothing was changed. To put it in place add --yes.")
        return
    copy_photos(kept, own)
    if plan.nothing_changes:
        tell("Photos are back in their place.")
        return
    done = restore(journal, plan.source, dry_run=False)
    aside, undo = "", ""
    if done.kept_aside is not None:
        aside = f" The journal of before is kept as {done.kept_aside.name}."
        if done.current_fault is None:
            remember_restore(garden.folder, garden.journal, done.kept_aside)
            undo = " Undo:\u00a0flushcast\u00a0undo"
    tell(f"Restored from {done.source.name}.{aside}{undo}")


def plan_text(plan: Restore) -> str:
    """The dry run to read: rows now and then, what comes back, goes, differs."""
    head = f"Backup {plan.source.name}: whole."
    if plan.current_fault is not None:
        head += f"\nThe journal now: {plan.current_fault}."
    if plan.nothing_changes:
        return f"{head}\nThe journal already is as in the backup."
    rows = [
        [
            TABLE_NAMES.get(name, name),
            "?" if d.now is None else str(d.now),
            str(d.then),
            str(d.comes_back),
            str(d.goes),
            str(d.differs),
        ]
        for name, d in plan.tables.items()
        if d.now or d.then
    ]
    return f"{head}\n{table(['', 'now', 'then', 'come back', 'go', 'differ'], rows)}"
