"""What the journal's tests share: records in one line, a small filled journal, later versions, processes."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from data_sources.journal.schema import TABLES
from data_sources.journal.store import Journal
from data_sources.sqlite.schema import Migration
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


def rows_of(journal: Journal) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, changes included, by id."""
    return {table: sorted(journal.query(f"SELECT * FROM {table}")) for table in (*TABLES, "change")}


@contextmanager
def a_later_flushcast(*steps: Migration) -> Iterator[None]:
    """Inside, the program knows more steps than it does today."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Journal, "schema", replace(Journal.schema, steps=(*Journal.schema.steps, *steps)))
        yield


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


class Victim:
    """A process that does some work whenever it is asked to, and is killed in the midst of it.

    Parameters
    ----------
    code : str
        Python source that defines ``work(*arguments)``.
    """

    def __init__(self, code: str) -> None:
        self.process = start(_VICTIM + code + _ASKED, stdin=subprocess.PIPE)

    def work(self, *arguments: object, step: int = 0, growth: int = 0) -> list[str]:
        """What it printed, line by line, and at the end whether it was "killed" or "ended".

        It is killed with -9 before its `step`-th step (twenty instructions of SQLite, or a file opened,
        renamed or removed by Python), or midway through the write by which a file outgrows `growth` bytes.
        """
        assert self.process.stdin is not None and self.process.stdout is not None
        print(step, growth, *arguments, file=self.process.stdin, flush=True)
        lines: list[str] = []
        while not lines or lines[-1] not in ("killed", "ended"):
            lines.append(self.process.stdout.readline().removesuffix("\n"))
            assert lines[-1], "the victim has died of something else"
        return lines

    def steps(self, *arguments: object) -> int:
        """How many steps the work takes when nothing kills it."""
        *_, steps, end = self.work(*arguments)
        assert end == "ended"
        return int(steps)

    def __enter__(self) -> Victim:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.communicate()


_VICTIM = """
import os, signal, sqlite3, sys
from pathlib import Path

def step(*_):
    global steps
    steps += 1
    if steps == limit:
        os.kill(os.getpid(), signal.SIGKILL)
    return 0

def watched(*arguments, connect=sqlite3.connect, **more):
    connection = connect(*arguments, **more)
    connection.set_progress_handler(step, 20)
    return connection

"""
_ASKED = """
for line in sys.stdin:
    limit, growth, *arguments = line.split()
    limit, steps = int(limit), 0
    process = os.fork()
    if not process:
        if int(growth):
            import resource
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
            resource.setrlimit(resource.RLIMIT_FSIZE, (int(growth), int(growth)))
        sqlite3.connect = watched
        sys.addaudithook(step)
        work(*arguments)
        print(steps, flush=True)
        os._exit(0)
    status = os.waitpid(process, 0)[1]
    print("killed" if os.WIFSIGNALED(status) else "ended", flush=True)
"""
