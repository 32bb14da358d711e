"""Killed with `kill -9` at any point: what was acknowledged is there, the rest is whole or absent."""

from __future__ import annotations

import random
import sys
from collections import Counter
from contextlib import closing
from pathlib import Path

import pytest

from data_sources.garden import GardenSettings, create_garden, open_journal, read_settings
from data_sources.journal.restoring import restore
from data_sources.journal.store import Journal
from data_sources.sqlite.backups import list_backups
from data_sources.sqlite.connection import connect, pragma
from data_sources.sqlite.health import inspect
from data_sources.sqlite.schema import Migration
from phenology.model.errors import StoreCorruptError
from tests.data_sources.journal_help import GARDEN, Victim, a_later_flushcast, a_look, fill

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="kill -9 is a POSIX signal")


def spread(steps: int) -> list[int]:
    """Ten steps of so many, and each of the last six."""
    return sorted({*range(1, steps, max(1, steps // 10)), *range(max(1, steps - 6), steps)})


WRITER = """
import itertools
from data_sources.journal.store import Journal
from tests.data_sources.journal_help import a_look, some_work

def work(path, round):
    with Journal.open(path) as journal:
        for n in itertools.count():
            name = f"{round}.{n}"
            if n % 4 == 3:
                with journal.batch("imported " + name) as batch:
                    for m in range(25):
                        batch.insert(a_look(f"{name}.{m}", note="import " + name))
            elif n % 8 == 2:
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


@pytest.mark.parametrize("folder", ["garden", "Dropbox"])  # the write-ahead log, the rollback mode
def test_every_acknowledged_write_is_there_after_being_killed(tmp_path: Path, folder: str) -> None:
    path = fill(tmp_path / folder / "journal.sqlite")
    chance = random.Random(11)
    looks: set[str] = set()
    works = imports = 0
    with Victim(WRITER) as victim:
        for round in range(8):
            if round % 2:
                how = {"step": chance.randrange(500, 2500)}
            else:
                how = {"growth": path.stat().st_size + chance.randrange(200_000)}
            *names, end = victim.work(path, round, **how)
            assert end == "killed"
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
                assert len(there - looks) <= 25  # at most the one write that was not acknowledged in time
                looks = there
                by_import = Counter(look.note for look in journal.looks() if look.note)
                assert set(by_import.values()) <= {25}  # an import is whole or not there
                labels = [change.label for change in journal.history()]
                assert sum(label.startswith("undid: mistake") for label in labels) >= works
    assert imports and works
    backups = list_backups(path)
    assert backups and not any(inspect(b.path, Journal.schema, whole=True).fault for b in backups)


NOW = Journal.schema.version
AFTER = (NOW + 1, NOW + 2)
_COPY = "INSERT INTO {0} SELECT look.id || '-' || n.value, note FROM look, json_each('[1,2,3]') AS n"
LATER = tuple(
    Migration(
        f"more {n}",
        (
            f"CREATE TABLE extra{n} (id TEXT PRIMARY KEY, note TEXT)",
            _COPY.format(f"extra{n}"),
            f"CREATE INDEX extra{n}_note ON extra{n} (note)",
        ),
    )
    for n in AFTER
)
UPGRADER = """
from data_sources.journal.store import Journal
from tests.data_sources.journal_help import a_later_flushcast
from tests.data_sources.test_journal_killed import LATER

def work(path):
    with a_later_flushcast(*LATER):
        Journal.open(path).close()
"""


def test_an_upgrade_killed_at_any_point_is_taken_up_again(tmp_path: Path) -> None:
    original = fill(tmp_path / "original.sqlite", looks=100).read_bytes()

    def older(name: object) -> Path:
        path = tmp_path / str(name) / "journal.sqlite"
        path.parent.mkdir()
        path.write_bytes(original)
        return path

    stopped_at = set()
    with Victim(UPGRADER) as victim:
        for step in spread(victim.steps(older("whole"))):
            path = older(step)
            assert victim.work(path, step=step)[-1] == "killed"
            with closing(connect(path)) as connection:
                version = pragma(connection, "user_version")
                tables = {
                    row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type='table'")
                }
                assert {f"extra{v}" for v in AFTER if v <= version} == {t for t in tables if "extra" in t}
                assert connection.execute("SELECT max(version) FROM migration").fetchone() == (version,)
            stopped_at.add(version)
            with a_later_flushcast(*LATER), Journal.open(path) as journal:
                assert journal.check() is None and len(journal.looks()) == 100
                assert pragma(journal.connection, "user_version") == NOW + 2
            backed_up = any(backup.why == f"before-v{AFTER[1]}" for backup in list_backups(path))
            assert version == AFTER[1] or backed_up
    assert stopped_at >= {NOW, NOW + 1}


RESTORER = """
from data_sources.journal.restoring import restore

def work(path, source):
    restore(Path(path), Path(source), dry_run=False)
"""


@pytest.mark.parametrize("damaged", [False, True])
def test_a_restore_killed_at_any_point_leaves_one_journal_or_the_other(tmp_path: Path, damaged: bool) -> None:
    before = fill(tmp_path / "before.sqlite", looks=3).read_bytes()
    if damaged:
        before = before[:-5000]
    source = fill(tmp_path / "source.sqlite", looks=60)

    def garden(name: object) -> Path:
        path = tmp_path / str(name) / "journal.sqlite"
        path.parent.mkdir()
        path.write_bytes(before)
        return path

    def check(path: Path) -> None:
        try:
            with Journal.open(path) as journal:
                assert journal.check() is None and len(journal.looks()) in (3, 60)
        except StoreCorruptError:
            assert damaged and path.read_bytes() == before
        restore(path, source, dry_run=False)
        with Journal.open(path) as journal, journal.batch("looked again") as batch:
            batch.insert(a_look("again"))

    with Victim(RESTORER) as victim:
        for step in spread(victim.steps(garden("whole"), source)):
            path = garden(step)
            assert victim.work(path, source, step=step)[-1] == "killed"
            check(path)
        size = source.stat().st_size
        ends = []
        for growth in range(size // 2, 3 * size, size // 8):
            path = garden(f"growth-{growth}")
            ends.append(victim.work(path, source, growth=growth)[-1])
            check(path)
        assert set(ends) == {"killed", "ended"}


CREATOR = """
from data_sources.garden import GardenSettings, create_garden
from tests.data_sources.journal_help import GARDEN, a_look

def work(folder):
    create_garden(Path(folder), GardenSettings("Larkfield"), [*GARDEN, a_look("k1")], "init")
"""


def test_a_garden_killed_while_being_made_is_there_whole_or_can_be_made_again(tmp_path: Path) -> None:
    made = []
    with Victim(CREATOR) as victim:
        for step in spread(victim.steps(tmp_path / "whole")):
            garden = tmp_path / str(step)
            assert victim.work(garden, step=step)[-1] == "killed"
            made.append((garden / "journal.sqlite").exists())
            if not made[-1]:
                create_garden(garden, GardenSettings("Larkfield"), [*GARDEN, a_look("k1")], "init")
            assert read_settings(garden).name == "Larkfield"
            with open_journal(garden) as journal:
                assert journal.check() is None and len(journal.looks()) == 1
    assert set(made) == {True, False}
