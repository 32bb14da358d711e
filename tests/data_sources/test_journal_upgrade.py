"""A journal of version 1, in which every change told who, when and why, says the same in half the space."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from data_sources.journal.changes import CHANGE_CELLS
from data_sources.journal.schema import TABLES, column_names
from data_sources.journal.steps import STEPS, checksum, compact, expanded
from data_sources.journal.store import Journal
from data_sources.sqlite.backups import list_backups
from data_sources.sqlite.connection import connect, pragma
from phenology.model.errors import StoreCorruptError
from phenology.model.records import Look
from tests.data_sources.journal_help import DAY, Victim, a_look, fill, some_work
from tests.data_sources.test_journal_killed import spread

WRITER_OF_1 = f"INSERT INTO change VALUES (?, {', '.join('?' * len(CHANGE_CELLS))}, ?)"


def as_version_1(path: Path) -> Path:
    """A journal brought back to version 1: the same records, and each change as that version wrote it."""
    with Journal.open(path) as journal:
        changes = list(journal.export_changes())
        rows = {
            table: journal.query(f"SELECT {', '.join(column_names(table))} FROM {table}")
            for table in TABLES
            if table != "shared_file"
        }
    for file in path.parent.glob(f"{path.name}*"):
        file.unlink()
    with closing(sqlite3.connect(path, isolation_level=None)) as old:
        for statement in STEPS[0].statements:
            old.execute(statement)
        old.execute("INSERT INTO migration VALUES (1, ?, '2026-07-04T12:00:00+00:00')", (STEPS[0].name,))
        old.execute(f"PRAGMA application_id = {Journal.schema.application_id}")
        old.execute("PRAGMA user_version = 1")
        for table, found in rows.items():
            old.executemany(
                f"INSERT INTO {table} VALUES ({', '.join('?' * len(column_names(table)))})", found
            )
        for change in changes:
            cells = [change[name] for name in CHANGE_CELLS]
            old.execute(WRITER_OF_1, (change["seq"], *cells, checksum(cells)))
    return path


@pytest.fixture
def older(tmp_path: Path) -> Path:
    """Looks and work written, changed, deleted, undone and done again."""
    path = fill(tmp_path / "garden" / "journal.sqlite", looks=20)
    with Journal.open(path) as journal:
        with journal.batch("changed") as batch:
            batch.update(Look, "k3", note='"firm", he said\n', kind="happened", checked=True)
            batch.update(Look, "k4", latest=DAY.replace(day=9))
            batch.delete(Look, "k5")
            batch.insert(some_work("w1"))
        journal.undo()
        journal.redo()
        with journal.batch("looked") as batch:
            batch.insert(a_look("late", note="kept"))
        journal.undo()
    return as_version_1(path)


def told(path: Path) -> list[dict[str, Any]]:
    """Every change, as version 1 keeps it."""
    with closing(connect(path, "ro")) as old:
        names = ("seq", *CHANGE_CELLS)
        return [
            dict(zip(names, row, strict=True))
            for row in old.execute(f"SELECT {', '.join(names)} FROM change")
        ]


def test_a_journal_of_version_1_says_the_same_afterwards(older: Path) -> None:
    before = told(older)
    with Journal.open(older) as journal:
        assert pragma(journal.connection, "user_version") == Journal.schema.version > 1
        assert list(journal.export_changes()) == before
        assert journal.check() is None
        assert [change.label for change in journal.history()][:3] == [
            "undid: looked",
            "looked",
            "did again: changed",
        ]
        assert journal.get(Look, "k5") is None and journal.undo(2) == ["changed", "set up"]
        assert journal.looks() == [] and journal.check() is None
    upgraded = f"before-v{Journal.schema.version}"
    (kept,) = [backup for backup in list_backups(older) if backup.why == upgraded]
    assert told(kept.path) == before


def test_what_was_damaged_before_the_upgrade_is_seen_after_it(older: Path) -> None:
    with closing(sqlite3.connect(older, isolation_level=None)) as old:
        old.execute("DROP TRIGGER change_is_never_edited")
        old.execute("UPDATE change SET after = replace(after, 'extending', 'extended') WHERE row_id = 'k7'")
        old.execute(STEPS[0].statements[-2])
    with pytest.raises(StoreCorruptError, match=r"change \d+ does not match its checksum"):
        Journal.open(older).close()
        Journal.open(older)  # its cells are looked at when it is next opened


UPGRADER = """
from data_sources.journal.store import Journal

def work(path):
    Journal.open(path).close()
"""


def test_an_upgrade_killed_at_any_point_loses_nothing(older: Path, tmp_path: Path) -> None:
    before, original = told(older), older.read_bytes()

    def again(name: object) -> Path:
        folder = tmp_path / str(name)
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        (folder / "journal.sqlite").write_bytes(original)
        return folder / "journal.sqlite"

    stopped_at = set()
    with Victim(UPGRADER) as victim:
        for step in spread(victim.steps(again("whole"))):
            path = again(step)
            assert victim.work(path, step=step)[-1] == "killed"
            with closing(connect(path)) as connection:
                stopped_at.add(pragma(connection, "user_version"))
            with Journal.open(path) as journal:
                assert list(journal.export_changes()) == before and journal.check() is None
    assert 1 in stopped_at


def test_a_look_takes_at_most_600_bytes(tmp_path: Path) -> None:
    """Ids as the program makes them, all that a look needs told, history and indexes included."""

    def size(looks: int) -> int:
        path = fill(tmp_path / str(looks) / "journal.sqlite")
        with Journal.open(path) as journal:
            with journal.batch("import of looks.csv") as batch:
                batch.save_all(a_look(str(UUID(int=2**127 + n * 2**90 // 7))) for n in range(looks))
            journal.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        return path.stat().st_size

    assert (size(5000) - size(1000)) / 4000 < 600


cells = st.one_of(st.none(), st.text(max_size=5), st.integers(-1, 1), st.floats(allow_nan=False))


@given(
    table=st.sampled_from([*TABLES]),
    tree=st.one_of(st.none(), st.just("t1")),
    row=st.dictionaries(
        st.sampled_from(
            ["id", "tree_id", "kind", "checked", "early", "date_text", "earliest", "latest", "note"]
        ),
        cells,
    ),
)
def test_a_row_comes_back_from_what_is_kept_of_it(table: str, tree: str | None, row: dict[str, Any]) -> None:
    text = compact(table, "k1", tree, json.dumps(row))
    assert text is not None
    found = expanded(table, "k1", tree, text)
    assert {name: found.get(name) for name in row} == row
    assert compact(table, "k1", tree, text) == text  # what is exported and read again is kept alike


def test_text_that_is_no_row_is_kept_as_it_is() -> None:
    assert compact("look", "k1", "t1", '{"note": "cut off') == '{"note": "cut off'
    assert compact("look", "k1", "t1", "[1]") == "[1]"
    assert compact("look", "k1", "t1", None) is None
