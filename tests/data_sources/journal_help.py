"""What the journal's tests share: records in one line, a small filled journal, other processes."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import date
from pathlib import Path

from data_sources.journal import Journal
from phenology.model.records import Flush, Look, Place, Stand, Tree, Work

REPOSITORY = Path(__file__).resolve().parent.parent.parent
DAY = date(2026, 7, 4)
PLACE = Place("p1", "Bench", 48.2, 5.9)
TREE = Tree("t1", "Elm 1", "Ulmus parvifolia")
FLUSH = Flush("f1", "t1", 2026, "season")
GARDEN = (PLACE, TREE, Stand("s1", "t1", "p1"), FLUSH)


def a_look(id: str, day: date = DAY, *, stage: str = "extending", note: str | None = None) -> Look:
    return Look(id, "t1", "f1", stage, day.isoformat(), day, day, note=note)


def some_work(id: str, day: date = DAY, operation: str = "cutback") -> Work:
    return Work(id, "t1", operation, day.isoformat(), day, day)


def fill(path: Path, looks: int = 0) -> Path:
    """A journal with one place, tree and flush, and some looks."""
    with Journal.open(path, create=True) as journal, journal.batch("set up") as batch:
        for record in (*GARDEN, *(a_look(f"k{n}") for n in range(looks))):
            batch.insert(record)
    return path


def start(code: str, *arguments: object, **more: object) -> subprocess.Popen[str]:
    """A Python process of its own that runs `code` with `arguments` and may print line by line."""
    environment = {**os.environ, "PYTHONPATH": str(REPOSITORY), "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.Popen(
        [sys.executable, "-c", code, *map(str, arguments)],
        stdout=subprocess.PIPE,
        text=True,
        env=environment,
        cwd=REPOSITORY,
        **more,  # type: ignore[call-overload]
    )
