"""The demo garden for tests of commands: made once, copied for whoever changes it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, redirect_stderr, redirect_stdout
from datetime import date
from functools import cache
from io import StringIO
from pathlib import Path
from tempfile import mkdtemp

import pytest

from data_sources.demo import garden
from data_sources.kept_notes import read_forecasts
from phenology.model.track_record import PastForecast
from reports.cli.main import main
from reports.garden.past_forecasts import garden_past
from tests.reports.opened import read_garden

DAY = date(2026, 6, 14)
FEW = ("Hornbeam 1", "Beech", "Crab apple", "Azalea")
"""Trees of the smaller demo garden that most tests need."""
ROOM = "FLUSHCAST_TEST_ROOM"
"""Names the folder that the processes of a run of the tests share (`conftest.py` at the top)."""
YEAR = [f"2026-{day}" for day in ("03-15", "04-20", "05-15", "06-14", "08-01", "09-15", "11-15", "12-20")]
"""Days through the demo's year on which its pages are read."""


def demo_folder(day: date = DAY, south: bool = False, trees: Sequence[str] = ()) -> Path:
    """A demo garden that nobody may change, of all trees or some; the usual day's is looked back on once.

    In a smaller garden each tree's records are the same, and all is made in a fraction of the time.
    """
    return _demo_folder(day, south, tuple(trees))


@cache
def _demo_folder(day: date, south: bool, labels: tuple[str, ...]) -> Path:
    """Made by the first process of a run that asks; each works with a copy of its own."""
    room = Path(os.environ.get(ROOM) or mkdtemp(prefix="flushcast-test-"))
    made = room / "-".join([f"{day}{'-south' * south}", *labels])
    with closing(sqlite3.connect(room / "lock", timeout=600)) as lock:
        lock.execute("BEGIN EXCLUSIVE")
        if not made.exists():
            begun = made.with_suffix(".begun")
            with pytest.MonkeyPatch.context() as patch:
                patch.setattr(garden, "TREES", [t for t in garden.TREES if not labels or t[0] in labels])
                garden.store_demo(begun, day, south=south)
            if day == DAY:  # other days are mostly read for what lies ahead
                garden_past(begun, read_garden(begun, day)[0])
            begun.rename(made)
    return Path(shutil.copytree(made, Path(mkdtemp(dir=room)) / "demo"))


@cache
def demo_past(trees: Sequence[str] = ()) -> tuple[PastForecast, ...]:
    """The demo garden's past forecasts."""
    folder = demo_folder(trees=trees)
    return tuple(garden_past(folder, read_garden(folder, DAY)[0]))


@contextmanager
def looked_back() -> Iterator[None]:
    """Whoever makes the demo garden anew finds what the tests' own was looked back on, under the same key."""

    made = demo_folder()  # before it is what others find: its making would wait for itself

    def kept(folder: Path, key: str) -> list[PastForecast] | None:
        found = read_forecasts(folder, key)
        return read_forecasts(made, key) if found is None else found

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("reports.garden.past_forecasts.read_forecasts", kept)
        yield


def own_demo(tmp_path: Path, day: date = DAY, south: bool = False, trees: Sequence[str] = ()) -> Path:
    """A demo garden of the test's own."""
    return Path(shutil.copytree(demo_folder(day, south, trees), tmp_path / "garden"))


def flushcast(*arguments: object, today: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run the command line in this process, through the `main` of the program: words and exit code."""
    words, out, err = [str(word) for word in arguments], StringIO(), StringIO()
    with redirect_stdout(out), redirect_stderr(err), pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdin", StringIO())
        if today:
            patch.setenv("FLUSHCAST_TODAY", today)
        with pytest.raises(SystemExit) as ended:
            main(words)
    code = ended.value.code
    assert code is None or isinstance(code, int)
    return subprocess.CompletedProcess(words, code or 0, out.getvalue(), err.getvalue())


def flushcast_process(*arguments: object, today: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, as a grower does; one such test a capability."""
    env = {**os.environ, **({"FLUSHCAST_TODAY": today} if today else {})}
    command = [sys.executable, "-m", "reports.cli.main", *map(str, arguments)]
    return subprocess.run(
        command, capture_output=True, text=True, env=env, check=False, stdin=subprocess.DEVNULL
    )
