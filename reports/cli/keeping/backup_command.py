"""`flushcast backup`: a checked copy of the journal."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import garden_option, put


@click.command("backup")
@click.argument("to", required=False, type=click.Path(path_type=Path), metavar="[FILE]")
@click.option("--list", "listing", is_flag=True, help="List the backups beside the journal.")
@garden_option
def backup_command(garden: Path, to: Path | None, listing: bool) -> None:
    """Copy the journal, check the copy, and say where it is.

    One is made by itself before the first change of a day; old ones are thinned out.
    """
    from data_sources.garden import read_settings
    from data_sources.journal import FILE_NAME, list_backups
    from reports.cli.writing.desk import open_desk, table, tell

    if listing:
        read_settings(garden)
        rows = [
            [f"{b.at.astimezone():%Y-%m-%d %H:%M}", b.why or "routine", b.path.name]
            for b in list_backups(garden / FILE_NAME)
        ]
        put(table(["taken", "why", "file"], rows) if rows else "No backups yet.")
        return
    with open_desk(garden) as desk:
        path = desk.journal.backup(to)
        tell("Backup made and checked:")
        put(str(path))
