"""The last restore, kept in `last_restore.json` until something else is written: so that it can be undone.

It may be deleted; then `undo` takes back the last change of the journal that was put in place.
"""

from __future__ import annotations

import json
from contextlib import suppress
from pathlib import Path

from data_sources.disk.whole_files import replace_text
from data_sources.journal import Journal
from data_sources.sqlite.backups import FOLDER
from phenology.model.errors import FlushcastError

FILE_NAME = "last_restore.json"


def remember_restore(folder: Path, journal: Journal, aside: Path) -> None:
    """Remember where the journal of before lies, and the newest change of the one now in its place."""
    text = json.dumps({"before": aside.name, "newest": _newest(journal)}, indent=1)
    with suppress(OSError, FlushcastError):
        replace_text(folder / FILE_NAME, text)


def journal_before_restore(folder: Path, journal: Journal) -> Path | None:
    """The journal that the last restore put aside; None where something was written since, or it is gone."""
    try:
        kept = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
        aside = folder / FOLDER / Path(str(kept["before"])).name
        return aside if kept["newest"] == _newest(journal) and aside.is_file() else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _newest(journal: Journal) -> str | None:
    return next((change.batch for change in journal.history(limit=1)), None)
