"""`flushcast undo` and `flushcast history`: what was written, and taking it back."""

from __future__ import annotations

from pathlib import Path

import click

from data_sources.journal.changes import Change
from phenology.model.errors import InputError
from reports.cli.common import may_ask, open_garden_option, put, tell
from reports.garden.open_garden import OpenGarden
from reports.views.words import TABLE_NAMES, counted, shown_date, table


@click.command("undo")
@click.argument("count", required=False, default=1, type=click.IntRange(1), metavar="[N]")
@click.option("--redo", is_flag=True, help="Do again what the last undo took back.")
@click.option("--yes", is_flag=True, help="Do not ask, where more than the last command's records would go.")
@open_garden_option
def undo_command(garden: OpenGarden, count: int, redo: bool, yes: bool) -> None:
    """Take back the last change, or the last N: looks, work, edits, a whole import or a restore as one.

    Before more than one change goes, or a restore, it says what will go and asks.
    """
    from data_sources.kept_notes import journal_before_restore

    journal = garden.journal
    before = None if redo else journal_before_restore(garden.folder, journal)
    if before is not None:
        _take_back_restore(garden, before, count, yes)
        return
    standing = [c for c in journal.history() if not c.undone and c.undoes is None] if count > 1 else []
    spared = not redo and 1 < len(standing) <= count  # the making of the garden is undone by itself alone
    wanted = len(standing) - 1 if spared else count
    if not redo and wanted > 1 and len(standing) > 1 and not _agreed(standing[:wanted], yes):
        return
    labels = (journal.redo if redo else journal.undo)(wanted, at=garden.now)
    if not labels:
        raise InputError(f"there is nothing to {'do again' if redo else 'undo'}")
    for label in labels:
        tell(f"{'Did again' if redo else 'Took back'}: {label}.")
    if spared:
        tell(f"Left as it is: {standing[-1].label}.")
    many = f" {len(labels)}" if len(labels) > 1 else ""
    tell(f"To reverse this: flushcast undo{many}{'' if redo else ' --redo'}")


def _agreed(changes: list[Change], yes: bool) -> bool:
    """Whether several changes may go: with --yes, or when whoever is there says so."""
    if yes:
        return True
    if not may_ask():
        raise InputError(
            f"this would take back {len(changes)} changes, the last of them '{changes[0].label}'; "
            "nothing was changed. Add --yes to take them back"
        )
    tell(f"This takes back {len(changes)} changes:")
    for change in changes:
        tell(f"  {change.label}")
    return click.confirm("Take them back?", default=False, err=True)


def _take_back_restore(garden: OpenGarden, before: Path, count: int, yes: bool) -> None:
    """Put the journal of before a restore back in its place, after a look at what that changes."""
    from data_sources.garden import JOURNAL_NAME
    from data_sources.journal.restoring import restore
    from data_sources.kept_notes import remember_restore
    from reports.cli.keeping import plan_text

    if count > 1:
        raise InputError("the last thing done was a restore; `flushcast undo` takes it back by itself first")
    journal = garden.folder / JOURNAL_NAME
    plan = restore(journal, before, dry_run=True)
    if not yes and not may_ask():
        raise InputError(
            "the last thing done was a restore; taking it back changes the whole journal, and nothing was "
            "changed. Add --yes to put the journal of before back"
        )
    put(plan_text(plan))
    if not yes and not click.confirm(
        "Take back the restore, and put that in place?", default=False, err=True
    ):
        return
    garden.close()
    done = restore(journal, before, dry_run=False)
    if done.kept_aside is not None:
        remember_restore(garden.folder, garden.journal, done.kept_aside)
    tell("Took back the restore: the journal of before it is in place. To reverse this: flushcast undo")


@click.command("history")
@click.argument("tree", nargs=-1, metavar="[TREE]")
@click.option(
    "--limit", type=click.IntRange(1), default=30, metavar="N", help="How many changes (default: 30)."
)
@open_garden_option
def history_command(garden: OpenGarden, tree: tuple[str, ...], limit: int) -> None:
    """Tell what was written when, newest first: all of it, or what touched one tree."""
    one = garden.select_one(" ".join(tree)).id if tree else None
    rows = []
    for change in garden.journal.history(one, limit):
        at = change.at.astimezone()
        counts = ", ".join(counted(n, TABLE_NAMES.get(name, name)) for name, n in change.rows.items())
        undone = " [taken back]" if change.undone else ""
        written = f"{shown_date(at.date(), at.date(), garden.today)} {at:%H:%M}"
        rows.append([written, f"{change.label} ({counts}){undone}"])
    put(table(["written", "what"], rows) if rows else "Nothing has been written yet.")
