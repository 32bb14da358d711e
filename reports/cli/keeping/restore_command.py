"""`flushcast restore`: put a backup in the journal's place, after a look at what that changes."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import garden_option, may_ask, put


@click.command("restore")
@click.argument("backup", required=False, type=click.Path(path_type=Path), metavar="[BACKUP]")
@click.option("--yes", is_flag=True, help="Do it; without this only what it would change is told.")
@garden_option
def restore_command(garden: Path, backup: Path | None, yes: bool) -> None:
    """Check a backup and tell what it would change; with --yes, put it in place.

    BACKUP: a file, or the name of one in the garden's backups (default: the newest good one). The journal of
    before is kept.
    """
    from data_sources.journal import FILE_NAME, restore
    from data_sources.sqlite.backups import FOLDER
    from reports.cli.keeping.restore_text import restore_text
    from reports.cli.writing.desk import tell

    journal = garden / FILE_NAME
    source = backup
    if source is not None and not source.exists() and (garden / FOLDER / source.name).exists():
        source = garden / FOLDER / source.name
    plan = restore(journal, source, dry_run=True)
    put(restore_text(plan))
    if plan.nothing_changes:
        return
    if not yes and may_ask():
        yes = click.confirm("Put it in place?", default=False, err=True)
    if not yes:
        tell("Nothing was changed. To put it in place add --yes.")
        return
    done = restore(journal, plan.source, dry_run=False)
    kept = f" The journal of before is kept as {done.kept_aside.name}." if done.kept_aside else ""
    tell(f"Restored from {done.source.name}.{kept}")
