"""A change cut off before it was whole is rolled back by the next command, and no older copy is offered."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from data_sources.garden import open_journal
from data_sources.sqlite.connection import connect
from tests.reports.bench import Bench, new_bench

ROOT = Path(__file__).resolve().parent.parent.parent
TRACE = shutil.which("strace")


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    """A garden in a synced folder, where the journal uses SQLite's rollback mode, with an older backup."""
    bench = new_bench(tmp_path / "Dropbox" / "garden")
    bench.does("backup")
    bench.does("tree", "edit", "Elm 1", "--note", "after the backup")
    return bench


def cut_off(bench: Bench, *, file: str, change: str) -> None:
    """Leave a file as a kill in the midst of a change does: pages written, its rollback journal there."""
    path = bench.folder / file
    with closing(connect(path)) as writer:
        writer.execute("PRAGMA journal_mode = DELETE")
        writer.execute("PRAGMA cache_size = 1")  # so that pages are written before the end
        writer.execute("BEGIN IMMEDIATE")
        for _ in range(300):
            writer.execute(change)
        copies = {name: (bench.folder / name).read_bytes() for name in (file, f"{file}-journal")}
        writer.execute("ROLLBACK")
    for name, data in copies.items():
        (bench.folder / name).write_bytes(data)
    assert copies[f"{file}-journal"][:8] == bytes.fromhex("d9d505f920a163d7")  # hot


TREES = """INSERT INTO tree (id, label, species, note)
    VALUES (hex(randomblob(8)), 'X', 'Y', hex(randomblob(900)))"""
PLACES = "INSERT INTO place (id) VALUES (hex(randomblob(2000)))"
COMMANDS = [["tree", "list"], ["history"], ["look", "Elm 1", "soft"], ["restore"]]


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: command[0])
def test_a_journal_killed_midway_is_rolled_back_by_any_command(bench: Bench, command: list[str]) -> None:
    cut_off(bench, file="journal.sqlite", change=TREES)
    bench.does(*command)
    assert not (bench.folder / "journal.sqlite-journal").exists()
    with open_journal(bench.folder) as journal:
        assert not journal.read_only and journal.check() is None
        assert [tree.note for tree in journal.trees()] == ["after the backup", None, None]


def test_a_restore_without_a_name_says_what_goes_and_does_nothing_by_itself(bench: Bench) -> None:
    cut_off(bench, file="journal.sqlite", change=TREES)
    answer = bench.does("restore")
    assert "is damaged" not in answer.out and "Nothing was changed" in answer.words
    with open_journal(bench.folder) as journal:
        assert any(tree.note == "after the backup" for tree in journal.trees())


def test_a_weather_store_killed_midway_is_rolled_back_too(bench: Bench, tmp_path: Path) -> None:
    weather = tmp_path / "weather.csv"
    weather.write_text("date,tmin,tmax\n2026-04-01,4,12\n2026-04-02,5,13\n")
    bench.does("weather", "add", weather, "--units", "C")
    cut_off(bench, file="weather.sqlite", change=PLACES)
    assert "2" in bench.does("weather", "status").out
    assert not (bench.folder / "weather.sqlite-journal").exists()


CALLS = ("unlink", "pwrite64", "fdatasync", "fsync", "rename", "ftruncate", "openat")


def killed_at_every_call(
    bench: Bench, scratch: Path, command: list[str], calls: tuple[str, ...], every: int = 1
) -> Iterator[tuple[str, int, Bench]]:
    """Copies of a garden in which a command was killed at its n-th system call of a kind."""
    assert TRACE
    for call in calls:
        for n in range(1, 2000, every):
            parent = bench.folder.parent.name
            folder = scratch / f"{call}-{n}" / parent / bench.folder.name
            shutil.copytree(bench.folder, folder)
            files = [
                f"{folder / name}{ending}"
                for name in ("journal.sqlite", "weather.sqlite", "garden.toml")
                for ending in ("", "-journal", "-wal", "-shm")
            ]
            watched = [part for file in files for part in ("-P", file)]
            done = subprocess.run(
                [TRACE, "-f", "-qq", "-o", os.devnull, *(watched if call == "openat" else ()),
                 "-e", f"trace={call}", "-e", f"inject={call}:signal=KILL:when={n}",
                 sys.executable, "-c", "from reports.cli.main import main; main()",
                 "--garden", str(folder), *command],
                env={**os.environ, "FLUSHCAST_TODAY": bench.today, "PYTHONDONTWRITEBYTECODE": "1"},
                cwd=ROOT, capture_output=True, check=False,
            )  # fmt: skip
            if done.returncode == 0:
                shutil.rmtree(folder)
                break
            yield call, n, Bench(folder, bench.today)
            shutil.rmtree(scratch / f"{call}-{n}")


@pytest.mark.slow
@pytest.mark.skipif(TRACE is None, reason="needs strace, to kill at a system call")
@pytest.mark.parametrize("folder", ["garden", "Dropbox"])
def test_an_edit_killed_at_any_write_is_there_whole_or_not_at_all(tmp_path: Path, folder: str) -> None:
    bench = new_bench(tmp_path / folder / "garden")
    bench.does("tree", "edit", "Elm 1", "--note", "before")
    command = ["tree", "edit", "Elm 1", "--pot", "round", "--note", "after"]
    found = set()
    for call, n, killed in killed_at_every_call(bench, tmp_path / "killed", command, CALLS, every=2):
        with open_journal(killed.folder) as journal:
            assert journal.check() is None, (call, n)
            (elm,) = (tree for tree in journal.trees() if tree.label == "Elm 1")
            found.add((elm.pot, elm.note))
        killed.does("look", "Elm 1", "soft")
        assert "already is as in the backup" not in killed("restore").out
    assert {(None, "before")} <= found <= {(None, "before"), ("round", "after")}
