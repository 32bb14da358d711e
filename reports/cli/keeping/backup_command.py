"""`flushcast backup`: a checked copy of the journal, and the photos of its looks."""

from __future__ import annotations

from pathlib import Path

import click

from data_sources.garden import JOURNAL_NAME
from data_sources.journal import list_backups
from data_sources.look_photos import FOLDER, copy_photos, photos_of_backup
from reports.cli.common import open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden
from reports.text.lines import counted, table


@click.command("backup")
@click.argument("to", required=False, type=click.Path(path_type=Path), metavar="[FILE]")
@click.option("--list", "listing", is_flag=True, help="List the backups beside the journal.")
@open_garden_option
def backup_command(garden: OpenGarden, to: Path | None, listing: bool) -> None:
    """Copy the journal, check the copy, and say where it is.

    Photos of looks are copied into a folder beside it. A copy of the journal alone is made by itself before
    the first change of a day; old ones are thinned out.
    """
    if listing:
        _ = garden.settings  # says so where there is no garden
        rows = [
            [f"{b.at.astimezone():%Y-%m-%d %H:%M}", b.why or "routine", b.path.name]
            for b in list_backups(garden.folder / JOURNAL_NAME)
        ]
        put(table(["taken", "why", "file"], rows) if rows else "No backups yet.")
        return
    path = garden.journal.backup(to)
    copied = copy_photos(garden.folder / FOLDER, photos_of_backup(path, named=path == to))
    tell("Backup made and checked:")
    put(str(path))
    if copied:
        tell(f"{counted(copied, 'photos')} copied beside it.")
