"""Changes as lines of plain words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from data_sources.journal import Change
from reports.cli.writing.desk import shown_date, table

_ROWS = {
    "place": ("place", "places"),
    "tree": ("tree", "trees"),
    "stand": ("standing", "standings"),
    "aim": ("aim", "aims"),
    "work": ("work", "works"),
    "flush": ("flush", "flushes"),
    "look": ("look", "looks"),
    "import_map": ("column reading", "column readings"),
}


def history_text(changes: Sequence[Change], today: date) -> str:
    """One line a change, newest first: when (local time), what, how many rows, whether it still holds."""
    if not changes:
        return "Nothing has been written yet."
    rows = []
    for change in changes:
        at = change.at.astimezone()
        counts = ", ".join(f"{n} {_ROWS.get(name, (name, name))[n != 1]}" for name, n in change.rows.items())
        taken = " [taken back]" if change.undone else ""
        day = at.date()
        rows.append([f"{shown_date(day, day, today)} {at:%H:%M}", f"{change.label} ({counts}){taken}"])
    return table(["written", "what"], rows)
