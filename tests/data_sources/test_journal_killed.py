"""Killed with `kill -9` at random moments: what was acknowledged is there, the rest is whole or absent."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pytest

from data_sources.journal import Journal, list_backups, migrations, restore
from data_sources.journal.backup import fault_of_file
from data_sources.journal.connection import connect
from data_sources.journal.migrations import Step
from tests.data_sources.journal_help import a_look, fill, start

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is a POSIX signal")

WRITER = """
import sys, itertools
from pathlib import Path
from data_sources.journal import Journal
from tests.data_sources.journal_help import a_look, some_work
path, round = Path(sys.argv[1]), sys.argv[2]
print("ready", flush=True)
with Journal.open(path) as journal:
    for n in itertools.count():
        name = f"{round}.{n}"
        if n % 4 == 3:
            with journal.batch("imported " + name) as batch:
                for m in range(25):
                    batch.insert(a_look(f"{name}.{m}", note="import " + name))
        elif n % 4 == 2 and n % 8 == 2:
            journal.backup()
        elif n % 8 == 6:
            with journal.batch("mistake " + name) as batch:
                batch.insert(some_work(name))
            journal.undo()
        else:
            with journal.batch("looked " + name) as batch:
                batch.insert(a_look(name))
        print(name, flush=True)
"""


def kill_after(process: subprocess.Popen[str], seconds: float, lines: int = 0) -> list[str]:
    """Wait until the process has told so much, and some time more, and kill it; returns all it had told."""
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    first = "".join(process.stdout.readline() for _ in range(lines))
    time.sleep(seconds)
    ended_itself = process.poll() is not None
    process.kill()
    told, _ = process.communicate()
    assert not ended_itself, "it was never killed: nothing was tested"
    return (first + told).split("\n")[:-1]  # a line cut short was not acknowledged


def test_every_acknowledged_write_is_there_after_being_killed(tmp_path: Path) -> None:
    path = fill(tmp_path / "journal.sqlite")
    chance = random.Random(11)
    looks: set[str] = set()
    works = imports = acknowledged = 0
    round = 0
    while acknowledged < 200 or round < 12:  # counted in writes, so that a slow computer kills as often
        round += 1
        names = kill_after(start(WRITER, path, round), chance.uniform(0, 0.02), lines=chance.randrange(25))
        acknowledged += len(names)
        for name in names:
            n = int(name.split(".")[1])
            if n % 4 == 3:
                looks |= {f"{name}.{m}" for m in range(25)}
                imports += 1
            elif n % 8 == 6:
                works += 1
            elif n % 8 != 2:
                looks.add(name)
        with Journal.open(path) as journal:  # the next command works
            assert journal.check() is None
            there = {look.id for look in journal.looks()}
            assert looks <= there
            by_import: dict[str, int] = {}
            for look in journal.looks():
                if look.note:
                    by_import[look.note] = by_import.get(look.note, 0) + 1
            assert set(by_import.values()) <= {25}  # an import is whole or not there
            assert len(there - looks) <= 25  # at most the one write that was not acknowledged in time
            looks = there
            labels = [change.label for change in journal.history()]
            assert sum(label.startswith("undid: mistake") for label in labels) >= works
    assert imports and works
    backups = list_backups(path)
    assert backups and all(fault_of_file(backup.path) is None for backup in backups)


UPGRADER = """
import sys
from pathlib import Path
from data_sources.journal import Journal, migrations
from tests.data_sources.test_journal_killed import SLOW_STEPS
migrations.STEPS = (*migrations.STEPS, *SLOW_STEPS)
apply_steps = migrations.apply_steps


def told(connection):
    print("ready", flush=True)  # the backup is made, the first step begins
    return apply_steps(connection)


migrations.apply_steps = told
Journal.open(Path(sys.argv[1])).close()
import time
time.sleep(30)
"""

_COPY = "INSERT INTO {0} SELECT look.id || '-' || n.value, note FROM look, json_each('[{1}]') AS n"
SLOW_STEPS = tuple(
    Step(
        version,
        f"slow {version}",
        (
            f"CREATE TABLE extra{version} (id TEXT PRIMARY KEY, note TEXT)",
            _COPY.format(f"extra{version}", ",".join(map(str, range(150)))),
            f"CREATE INDEX extra{version}_note ON extra{version} (note)",
        ),
    )
    for version in (2, 3)
)


def test_an_upgrade_killed_at_any_moment_is_taken_up_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    original = fill(tmp_path / "original.sqlite", looks=200).read_bytes()
    chance = random.Random(5)
    stopped_at: set[int] = set()
    for round in range(60):
        if round >= 10 and len(stopped_at) > 1:
            break
        path = tmp_path / str(round) / "journal.sqlite"
        path.parent.mkdir()
        path.write_bytes(original)
        kill_after(start(UPGRADER, path), chance.uniform(0, 0.1 + 0.01 * round))
        with monkeypatch.context() as upgraded:
            upgraded.setattr(migrations, "STEPS", (*migrations.STEPS, *SLOW_STEPS))
            with closing(connect(path)) as connection:
                version = migrations.version_of(connection)
                tables = {
                    r[0] for r in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
                }
                assert {f"extra{v}" for v in (2, 3) if v <= version} == {t for t in tables if "extra" in t}
                (recorded,) = connection.execute("SELECT max(version) FROM migration").fetchone()
                assert recorded == version
            stopped_at.add(version)
            with Journal.open(path) as journal:
                assert journal.check() is None and len(journal.looks()) == 200
                assert migrations.version_of(journal.connection) == 3
        assert any(backup.why == "before-v3" for backup in list_backups(path))
    assert len(stopped_at) > 1  # some were killed before, some after a step


RESTORER = """
import sys, itertools
from pathlib import Path
from data_sources.journal import restore
path, few, many = map(Path, sys.argv[1:])
print("ready", flush=True)
for source in itertools.cycle((few, many)):
    restore(path, source, dry_run=False)
    print(source.name, flush=True)
"""


def test_a_restore_killed_at_any_moment_leaves_one_whole_journal(tmp_path: Path) -> None:
    folder = tmp_path / "garden"
    folder.mkdir()
    path = fill(folder / "journal.sqlite", looks=3)
    few = fill(tmp_path / "few.sqlite", looks=10)
    many = fill(tmp_path / "many.sqlite", looks=60)
    chance = random.Random(3)
    restored = 0
    for _ in range(8):
        restored += len(kill_after(start(RESTORER, path, few, many), chance.uniform(0.01, 0.15)))
        with Journal.open(path) as journal:
            assert journal.check() is None and len(journal.looks()) in (3, 10, 60)
    assert restored > 0
    restore(path, few, dry_run=False)
    with Journal.open(path) as journal, journal.batch("looked again") as batch:
        batch.insert(a_look("k10"))


CREATOR = """
import sys, itertools
from pathlib import Path
from data_sources.garden import GardenSettings, create_garden
from tests.data_sources.journal_help import GARDEN, a_look
print("ready", flush=True)
for n in itertools.count():
    create_garden(Path(sys.argv[1], str(n)), GardenSettings("Larkfield"), [*GARDEN, a_look("k1")], "init")
    print(n, flush=True)
"""


def test_a_garden_killed_while_being_made_is_there_whole_or_can_be_made_again(tmp_path: Path) -> None:
    from data_sources.garden import GardenSettings, create_garden, open_journal, read_settings
    from tests.data_sources.journal_help import GARDEN

    chance = random.Random(9)
    for round in range(8):
        folder = tmp_path / str(round)
        made = len(kill_after(start(CREATOR, folder), chance.uniform(0, 0.1)))
        for n in range(made + 1):
            garden = folder / str(n)
            if not (garden / "journal.sqlite").exists():
                assert n == made
                create_garden(garden, GardenSettings("Larkfield"), [*GARDEN, a_look("k1")], "init")
            assert read_settings(garden).name == "Larkfield"
            with open_journal(garden) as journal:
                assert journal.check() is None and len(journal.looks()) == 1
