"""The last restore, kept in `last_restore.json` until something else is written: so that it can be undone.

It may be deleted; then `undo` takes back the last change of the journal that was put in place.
"""

from __future__ import annotations

from pathlib import Path

from data_sources.disk.whole_files import read_note, write_note
from data_sources.journal.store import Journal
from data_sources.sqlite.backups import FOLDER

FILE_NAME = "last_restore.json"


def remember_restore(folder: Path, journal: Journal, aside: Path) -> None:
    """Remember where the journal of before lies, and the newest change of the one now in its place."""
    write_note(folder / FILE_NAME, {"before": aside.name, "newest": _newest(journal)})


def journal_before_restore(folder: Path, journal: Journal) -> Path | None:
    """The journal that the last restore put aside; None where something was written since, or it is gone."""
    before = read_note(
        folder / FILE_NAME,
        lambda kept: Path(str(kept["before"])).name if kept["newest"] == _newest(journal) else "",
        "",
    )
    aside = folder / FOLDER / before
    return aside if before and aside.is_file() else None


def _newest(journal: Journal) -> str | None:
    return next((change.batch for change in journal.history(limit=1)), None)
