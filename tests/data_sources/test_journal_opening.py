"""Opening a journal that is missing, old, too new, read-only, locked, or on a synced drive."""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from data_sources.journal.restoring import restore
from data_sources.journal.store import Journal
from data_sources.sqlite.backups import list_backups
from data_sources.sqlite.connection import CHECKED, beside, look, place_new, pragma
from data_sources.sqlite.folders import why_not_shared_memory
from data_sources.sqlite.schema import Migration
from phenology.model.errors import InputError, StoreError, StoreLockedError, StoreTooNewError
from tests.data_sources.journal_help import a_later_flushcast, a_look, fill, start

ROOT = hasattr(os, "geteuid") and os.geteuid() == 0
NOW = Journal.schema.version
STEPS = [(n, step.name) for n, step in enumerate(Journal.schema.steps, 1)]
NEXT_STEP = Migration(
    "tags", ("CREATE TABLE tag (id TEXT PRIMARY KEY NOT NULL)", "ALTER TABLE look ADD COLUMN mood TEXT")
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return fill(tmp_path / "journal.sqlite", looks=3)


def add(journal: Journal, id: str) -> None:
    with journal.batch(f"looked: {id}") as batch:
        batch.insert(a_look(id))


def fingerprint(folder: Path) -> dict[str, str]:
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.iterdir() if p.is_file()}


# -- what is there ------------------------------------------------------------------------------------------


def test_a_missing_journal_says_how_to_start_one(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"no journal at .*'flushcast init' starts a garden"):
        Journal.open(tmp_path / "journal.sqlite")
    assert list(tmp_path.iterdir()) == []


def test_a_missing_journal_with_backups_points_at_them(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.backup()
    path.unlink()
    for create in (False, True):
        with pytest.raises(StoreError, match=r"is missing but has backups.*'flushcast restore'"):
            Journal.open(path, create=create)


def test_a_new_journal_is_whole_and_leaves_nothing_beside_it(tmp_path: Path) -> None:
    path = tmp_path / "far" / "away" / "journal.sqlite"
    with Journal.open(path, create=True) as journal:
        assert journal.check() is None and journal.warnings == [] and journal.history() == []
    assert [p.name for p in path.parent.iterdir()] == ["journal.sqlite"]
    with Journal.open(path, create=True) as journal:  # one that is there is opened
        assert journal.trees() == []


def test_the_settings_that_keep_it_safe_are_on(path: Path) -> None:
    with Journal.open(path) as journal:
        ask = journal.connection.execute
        names = ("foreign_keys", "synchronous", "journal_mode", "user_version")
        assert [ask(f"PRAGMA {name}").fetchone()[0] for name in names] == [1, 2, "wal", NOW]
        assert ask("SELECT version, name FROM migration").fetchall() == STEPS


@pytest.mark.parametrize("content", [b"a shopping list\n" * 20, b"", b"SQLite format 3\x00"])
def test_a_file_of_another_kind_is_refused_and_left(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "journal.sqlite"
    path.write_bytes(content)
    with pytest.raises(StoreError):
        Journal.open(path)
    assert path.read_bytes() == content and os.listdir(tmp_path) == ["journal.sqlite"]


def test_another_programs_database_is_refused_and_left(tmp_path: Path) -> None:
    path = tmp_path / "journal.sqlite"
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE recipe (name TEXT)")
    before = fingerprint(tmp_path)
    with pytest.raises(StoreError, match="is not a flushcast journal; it was left untouched"):
        Journal.open(path)
    assert fingerprint(tmp_path) == before


def test_a_folder_in_its_place_is_refused(tmp_path: Path) -> None:
    (tmp_path / "journal.sqlite").mkdir()
    with pytest.raises(StoreError, match=r"opening .*journal.sqlite failed: is a directory"):
        Journal.open(tmp_path / "journal.sqlite")


# -- versions -----------------------------------------------------------------------------------------------


def test_a_newer_journal_is_refused_and_untouched(path: Path) -> None:
    with a_later_flushcast(Migration("later", ()), Migration("later still", ())):
        Journal.open(path).close()
    before = fingerprint(path.parent)
    said = rf"newer flushcast \(version {NOW + 2}, this one reads up to {NOW}\)"
    with pytest.raises(StoreTooNewError, match=said):
        Journal.open(path)
    assert fingerprint(path.parent) == before


def test_a_newer_journal_is_known_even_when_only_its_log_says_so(path: Path) -> None:
    with a_later_flushcast(Migration("later", ()), Migration("later still", ())):
        held = Journal.open(path)
    assert path.with_name(path.name + "-wal").stat().st_size > 0
    with pytest.raises(StoreTooNewError):
        Journal.open(path)
    held.close()


def test_an_older_journal_is_backed_up_then_upgraded(path: Path) -> None:
    with a_later_flushcast(NEXT_STEP), Journal.open(path) as journal:
        assert pragma(journal.connection, "user_version") == NOW + 1
        recorded = journal.query("SELECT version, name FROM migration")
        assert recorded == [*STEPS, (NOW + 1, "tags")]
        assert len(journal.looks()) == 3 and journal.check() is None
        add(journal, "after")
    (kept,) = list_backups(path)
    assert kept.why == f"before-v{NOW + 1}"
    with Journal.open(kept.path) as old:  # the backup is what an older flushcast can read
        assert len(old.looks()) == 3


def test_an_upgrade_that_fails_leaves_the_journal_as_it_was(path: Path) -> None:
    bad = Migration("bad", ("CREATE TABLE tag (id TEXT)", "DELETE FROM look", "DROP TABLE no_such_table"))
    failing = pytest.raises(StoreError, match=r"upgrading .* The journal is as it was, and a backup is in")
    with a_later_flushcast(bad), failing:
        Journal.open(path)
    with Journal.open(path) as journal:
        assert len(journal.looks()) == 3 and journal.check() is None
        assert pragma(journal.connection, "user_version") == NOW


def test_a_reader_reads_on_while_another_process_upgrades(path: Path) -> None:
    with Journal.open(path) as reader:
        with reader.snapshot():
            assert len(reader.looks()) == 3
            with a_later_flushcast(NEXT_STEP), Journal.open(path) as upgraded:
                add(upgraded, "new")
                assert len(reader.looks()) == 3  # as they were when the snapshot began
        assert len(reader.looks()) == 4
        with pytest.raises(StoreTooNewError, match="newer flushcast"):
            add(reader, "by the old one")  # an old program must not write into the new shape
        assert len(reader.looks()) == 4


# -- who may write ------------------------------------------------------------------------------------------


def test_a_journal_another_process_writes_to_is_read_but_not_written(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("data_sources.sqlite.connection.PATIENCE", 0)
    with Journal.open(path) as one, Journal.open(path) as other:
        with one.batch("long import") as batch:
            batch.insert(a_look("k9"))
            assert len(other.looks()) == 3
            with pytest.raises(StoreLockedError, match=r"is in use: .* Nothing was saved. Try again"):
                add(other, "k10")
        add(other, "k10")
        assert [k.id for k in one.looks()] == ["k0", "k1", "k10", "k2", "k9"]


def test_a_journal_locked_whole_says_so(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("data_sources.sqlite.connection.PATIENCE", 0)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("PRAGMA journal_mode = DELETE")
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreLockedError, match="is in use"):
            Journal.open(path)
    with Journal.open(path) as journal:
        assert len(journal.looks()) == 3


def test_two_processes_add_at_once_and_both_are_heard(path: Path) -> None:
    code = """
import sys
from data_sources.journal.store import Journal
from tests.data_sources.journal_help import a_look
with Journal.open(sys.argv[1]) as journal:
    for n in range(40):
        with journal.batch(f"looked: {sys.argv[2]}{n}") as batch:
            batch.insert(a_look(f"{sys.argv[2]}{n}"))
        print(n, flush=True)
"""
    processes = [start(code, path, name) for name in ("a", "b")]
    for process in processes:
        printed, _ = process.communicate()
        assert process.returncode == 0 and printed.split() == [str(n) for n in range(40)]
    with Journal.open(path) as journal:
        assert {k.id for k in journal.looks()} >= {f"{name}{n}" for name in "ab" for n in range(40)}
        assert len(journal.history()) == 81 and journal.check() is None


def test_two_processes_may_create_it_at_once(tmp_path: Path) -> None:
    code = """
import sys
from data_sources.journal.store import Journal
from phenology.model.records import Tree
with Journal.open(sys.argv[1], create=True) as journal, journal.batch("added") as batch:
    batch.insert(Tree(sys.argv[2], "x", "y"))
"""
    path = tmp_path / "new" / "journal.sqlite"
    processes = [start(code, path, name) for name in "abcd"]
    assert [process.wait() for process in processes] == [0, 0, 0, 0]
    for process in processes:
        process.communicate()
    with Journal.open(path) as journal:
        assert sorted(tree.id for tree in journal.trees()) == ["a", "b", "c", "d"]
    assert {p.name for p in path.parent.iterdir() if p.is_file()} <= {path.name, beside(path, CHECKED).name}


@contextmanager
def only_readable(*paths: Path) -> Iterator[None]:
    """Nobody may write these; root may write anything, so for root the caller must be somebody else."""
    modes = [(p, p.stat().st_mode) for p in paths]
    for p, mode in modes:
        p.chmod(mode & ~0o222 | 0o444)
    try:
        yield
    finally:
        for p, mode in modes:
            p.chmod(mode)


def as_nobody(code: str, *arguments: object) -> str:
    """What a Python process prints that is not root; it imports before it steps down."""
    stepping_down = f"""
import os, sys
import data_sources.garden, data_sources.journal, tests.data_sources.journal_help
from pathlib import Path
{"os.setgroups([]); os.setgid(65534); os.setuid(65534)" if ROOT else ""}
from phenology.model.errors import FlushcastError
from data_sources.journal.store import Journal
from tests.data_sources.journal_help import a_look
path = Path(sys.argv[1])
try:
{chr(10).join("    " + line for line in code.strip().splitlines())}
except FlushcastError as error:
    print(type(error).__name__, error)
"""
    process = start(stepping_down, *arguments)
    printed, _ = process.communicate()
    assert process.returncode == 0
    return printed


posix_only = pytest.mark.skipif(os.name != "posix", reason="file modes are those of POSIX systems")


@pytest.fixture
def open_to_all(path: Path, open_folder: Path) -> Path:
    here = Path(shutil.copytree(path.parent, open_folder / "garden")) / path.name
    here.parent.chmod(0o777)
    here.chmod(0o666)
    return here


@posix_only
def test_a_read_only_journal_is_read_and_refuses_to_save(open_to_all: Path) -> None:
    with only_readable(open_to_all, open_to_all.parent):
        os.chmod(open_to_all.parent, 0o555)
        printed = as_nobody(
            """
with Journal.open(path) as journal:
    print(len(journal.looks()), journal.read_only, journal.warnings)
    with journal.batch("x") as batch:
        batch.insert(a_look("k9"))
""",
            open_to_all,
        )
    assert printed.startswith("3 True [")
    assert "can only be read: the file or its folder is read-only." in printed
    last = printed.splitlines()[-1]
    assert last.startswith("StoreError") and last.endswith("Nothing was saved.")


@posix_only
def test_a_folder_nobody_may_write_takes_no_new_journal(open_to_all: Path) -> None:
    os.chmod(open_to_all.parent, 0o555)
    printed = as_nobody("Journal.open(path.with_name('new.sqlite'), create=True)", open_to_all)
    os.chmod(open_to_all.parent, 0o777)
    assert printed.startswith("StoreError opening")
    assert "permission denied. Nothing was changed." in printed
    assert len(printed.splitlines()) == 1


def test_a_full_disk_loses_nothing_and_says_so(path: Path) -> None:
    with Journal.open(path) as journal:
        pages = journal.connection.execute("PRAGMA page_count").fetchone()[0]
        journal.connection.execute(f"PRAGMA max_page_count = {pages + 2}")
        full = pytest.raises(
            StoreError, match=r"the disk is full\. Nothing was saved\. Make room and try again"
        )
        with full, journal.batch("a long import") as batch:
            for n in range(2000):
                batch.insert(a_look(f"n{n}", note="x" * 500))
        assert len(journal.looks()) == 3 and len(journal.history()) == 1
        journal.connection.execute("PRAGMA max_page_count = 1000000")
        add(journal, "k9")
        assert journal.check() is None


# -- drives -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["Dropbox", "OneDrive - Club", "Nextcloud", "My Drive"])
def test_a_synced_folder_is_warned_of_and_uses_the_rollback_mode(tmp_path: Path, name: str) -> None:
    path = fill(tmp_path / name / "garden" / "journal.sqlite")
    with Journal.open(path) as journal:
        (warning,) = journal.warnings
        assert f"inside the synced folder '{name}'" in warning and "one device write at a time" in warning
        assert journal.connection.execute("PRAGMA journal_mode").fetchone()[0] == "delete"
        add(journal, "k1")
        assert journal.check() is None


def test_a_rollback_log_that_goes_while_it_is_looked_at_is_no_fault(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another process ends its change, and with it the log, between two questions about that log."""
    log, stat, asked = beside(path, "-journal"), Path.stat, list[str]()

    def gone_the_second_time(file: Path, **options: bool) -> os.stat_result:
        if file == log:
            asked.append("stat")
            if len(asked) > 1:
                raise FileNotFoundError(2, "No such file or directory")
            return stat(path)
        return stat(file, **options)

    monkeypatch.setattr(Path, "stat", gone_the_second_time)
    with closing(look(path)) as connection:
        assert pragma(connection, "user_version") == NOW


def test_a_garden_moved_into_a_synced_folder_changes_its_mode(path: Path) -> None:
    folder = path.parent / "Syncthing"
    folder.mkdir()
    moved = path.rename(folder / "journal.sqlite")
    with Journal.open(moved) as journal:
        assert journal.connection.execute("PRAGMA journal_mode").fetchone()[0] == "delete"


def test_a_network_drive_is_warned_of(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "data_sources.sqlite.folders._mounts", lambda folder: [("/", "ext4"), (str(path.parent), "nfs4")]
    )
    monkeypatch.setattr("sys.platform", "linux")
    assert why_not_shared_memory(path.parent) == "is on a network drive (nfs4)"
    with Journal.open(path) as journal:
        assert "on a network drive (nfs4)" in journal.warnings[0]


def test_a_folder_with_a_like_name_alone_is_not_synced(tmp_path: Path) -> None:
    assert why_not_shared_memory(tmp_path / "dropbox cuttings 2026") is None


def test_without_links_a_new_journal_still_never_replaces_one(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise PermissionError("links are not known here")

    monkeypatch.setattr("os.link", refused)
    part = path.with_name("part")
    part.write_bytes(b"new")
    assert place_new(part, path) is False
    assert place_new(part, path.with_name("free")) is True


def test_nested_batches_are_a_mistake_of_the_program(path: Path) -> None:
    refused = pytest.raises(RuntimeError, match="open already")
    with Journal.open(path) as journal, journal.batch("outer"), refused, journal.batch("inner"):
        pass


def test_restore_refuses_the_journal_itself(path: Path) -> None:
    with pytest.raises(InputError, match="is the journal itself"):
        restore(path, path)
