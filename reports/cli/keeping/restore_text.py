"""What a restore does, table by table."""

from __future__ import annotations

from data_sources.journal import Restore
from reports.cli.writing.desk import table

_NAMES = {
    "place": "places",
    "tree": "trees",
    "stand": "standings",
    "aim": "aims",
    "work": "works",
    "flush": "flushes",
    "look": "looks",
    "import_map": "column readings",
}


def restore_text(plan: Restore) -> str:
    """The dry run to read: rows now and then, what comes back, goes, differs."""
    head = f"Backup {plan.source.name}: whole."
    if plan.current_fault is not None:
        head += f"\nThe journal now: {plan.current_fault}."
    if plan.nothing_changes:
        return f"{head}\nThe journal already is as in the backup."
    rows = [
        [
            _NAMES.get(name, name),
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
