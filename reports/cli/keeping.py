"""A garden kept and passed on: `export`, `backup`, `restore`, `share` and `learn-from`."""

from __future__ import annotations

from collections.abc import Collection
from itertools import count
from pathlib import Path

import click

from data_sources.garden import JOURNAL_NAME, SETTINGS_NAME
from data_sources.journal.restoring import Restore, restore
from data_sources.kept_notes import remember_restore
from data_sources.look_photos import FOLDER as PHOTOS
from data_sources.look_photos import copy_photos, photo_ids, photos_of_backup
from data_sources.sqlite.backups import FOLDER, list_backups
from data_sources.tables.garden_tables import FILES
from phenology.model.errors import InputError
from reports.cli.common import may_ask, open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden
from reports.views.words import TABLE_NAMES, counted, table


@click.command("export")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.option("--replace", is_flag=True, help="Write over an earlier export.")
@open_garden_option
def export_command(garden: OpenGarden, folder: Path, replace: bool) -> None:
    """Write every record as CSV: one file a table, looks.csv among them, and
    the weather, a file for each place and source; photos of looks as they are.

    `flushcast init NEW --from DIR` makes the same garden of it, `flushcast import DIR` takes edited rows
    back in. A cell that a spreadsheet would run as a formula begins with an apostrophe; import takes it off.
    """
    from data_sources.garden_export import export_garden

    settings = garden.folder / SETTINGS_NAME
    counts = export_garden(folder, garden.journal, settings, garden.calendar, replace=replace)
    names = {file: TABLE_NAMES[table] for table, file in FILES.items()} | {
        "changes.csv": "changes",
        "weather.csv": "days of weather",
        "photos": "photos",
    }
    counts_text = ", ".join(counted(n, names[name]) for name, n in counts.items() if n)
    tell(f"Exported to {folder}: {counts_text}. Past forecasts of the weather stay in weather.sqlite.")


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
    copied = copy_photos(garden.folder / PHOTOS, photos_of_backup(path, named=path == to))
    tell("Backup made and checked:")
    put(str(path))
    if copied:
        tell(f"{counted(copied, 'photos')} copied beside it.")


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


@click.command("share")
@click.argument("file", required=False, type=click.Path(path_type=Path), metavar="[FILE]")
@open_garden_option
def share_command(garden: OpenGarden, file: Path | None) -> None:
    """Write what the looks have taught of each species, for other growers' `flushcast learn-from`.

    The file holds numbers alone: waits and how sure they are, which warmth they follow, counts of seasons,
    trees and looks, and of the place its latitude to a whole degree and its coldest and warmest time. No
    name, note, date of a look or photo leaves the garden.
    """
    from data_sources.disk.whole_files import write_output
    from data_sources.sharing.calibration_file import garden_code, to_text
    from phenology.learning.sharing import shared_steps
    from phenology.model.errors import InputError
    from phenology.model.shared_calibration import SharedCalibration
    from phenology.species.catalogue import load_species

    snapshot = garden.snapshot()
    steps = tuple(shared_steps(snapshot))
    shared = SharedCalibration(garden_code(garden.some_places), "", snapshot.climate, steps)
    known = load_species()
    told = [name for name in shared.species if name in known]
    if not told:
        raise InputError(
            "there is nothing to share yet: looks must have followed a species of the catalogue from one "
            "stage to the next in one season at least"
        )
    text = to_text(shared, garden.today)
    if file is None:
        put(text)
    else:
        write_output(file, f"{text}\n".encode())
    where = f" in {file}" if file is not None else ""
    own = [name for name in shared.species if name not in known]
    tell(f"Shared{where}: {', '.join(told)}. Numbers alone: no names, notes or places.")
    if own:
        tell(f"Left out, for the catalogue lacks them: {', '.join(own)}.")


@click.command("learn-from")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE...")
@open_garden_option
def learn_from_command(garden: OpenGarden, files: tuple[Path, ...]) -> None:
    """Learn from calibrations that other gardens share; each is called by its file's name.

    \b
    flushcast learn-from anna.json bench-two.json

    They count like a better catalogue: the more alike the climate and the better gardens agree, the more,
    and the less, the more you have seen yourself. `flushcast calibrate` shows what came from whom,
    `flushcast undo` takes them out. A file that no flushcast wrote is refused, and then none is taken.
    """
    from data_sources.journal.schema import SharedFile
    from data_sources.sharing.calibration_file import garden_code, read_calibrations

    own = garden_code(garden.some_places)
    labels = {file.id: file.label for file in garden.journal.shared_files()}
    taken: dict[str, SharedFile] = {}
    lines = []
    for path in files:
        shared, text = read_calibrations(path, path.stem)
        if shared.garden == own:
            raise InputError(f"{path} is this garden's own; nothing was learned")
        if shared.garden in taken:
            raise InputError(f"{path} and another file come from one garden; give the newer one alone")
        label = labels.get(shared.garden) or _free(path.stem, labels.values())
        labels[shared.garden] = label
        taken[shared.garden] = SharedFile(shared.garden, label, text)
        lines.append(f"{label}: {', '.join(shared.species) or 'nothing'}.")
    names = ", ".join(file.label for file in taken.values())
    garden.save(f"learned from {names}", taken.values())
    for line in lines:
        tell(line)
    tell(f"Learned from {names}; your own looks count before them. Undo: flushcast undo")


def _free(name: str, taken: Collection[str]) -> str:
    """A name that no other garden has here."""
    return next(free for n in count(1) if (free := name if n == 1 else f"{name} {n}") not in taken)
