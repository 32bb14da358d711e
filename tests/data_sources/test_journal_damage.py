"""A damaged journal is found out, kept, and never read as if it were whole."""

from __future__ import annotations

import os
import random
import shutil
from pathlib import Path

import pytest

from data_sources.journal.restoring import restore
from data_sources.journal.store import Journal
from data_sources.sqlite.connection import CHECKED, beside
from data_sources.sqlite.health import fault_in, inspect
from phenology.model.errors import StoreCorruptError, StoreError
from tests.data_sources.journal_help import a_look, fill, rows_of

NOTE = "soft at the top, firm inside; the note is long so that flipped bits often fall into text"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    path = fill(tmp_path / "journal.sqlite")
    with Journal.open(path) as journal:
        for n in range(30):
            with journal.batch(f"looked: {n}") as batch:
                batch.insert(a_look(f"k{n}", note=NOTE))
        journal.undo(2)
    shutil.rmtree(path.parent / "backups")  # the routine one, made before the first look
    return path


def everything(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with Journal.open(path) as journal:
        return rows_of(journal)


@pytest.mark.parametrize("keep", [0, 50, 100, 4096, 0.3, 0.9, -4096, -1])
def test_a_truncated_journal_is_found_and_kept(path: Path, keep: float) -> None:
    whole = path.read_bytes()
    cut = whole[: int(keep * len(whole))] if isinstance(keep, float) else whole[:keep]
    path.write_bytes(cut)
    with pytest.raises(
        StoreCorruptError, match=r"is damaged .* it is kept as it is\. No good backup was found"
    ):
        Journal.open(path)
    assert path.read_bytes() == cut


def test_the_newest_good_backup_is_named(path: Path) -> None:
    with Journal.open(path) as journal:
        good, bad = journal.backup(), journal.backup()
    bad.write_bytes(bad.read_bytes()[:-4096])
    path.write_bytes(path.read_bytes()[:-4096])
    with pytest.raises(StoreCorruptError) as caught:
        Journal.open(path)
    assert f"The newest good backup is {good}, of 20" in str(caught.value)
    assert "'flushcast restore' shows what it would bring back" in str(caught.value)


def test_a_flipped_bit_is_found_or_harms_nothing(path: Path) -> None:
    """Anywhere in the file: either opening refuses, or every row and change reads as it was written."""
    whole, before = path.read_bytes(), everything(path)
    chance = random.Random(20260704)
    places = [*range(100), *(chance.randrange(100, len(whole)) for _ in range(300))]
    found = 0
    for place in places:
        bad = bytearray(whole)
        bad[place] ^= 1 << chance.randrange(8)
        path.write_bytes(bad)
        beside(path, CHECKED).unlink(missing_ok=True)  # as on another day
        try:
            after = everything(path)
        except StoreError:
            found += 1
            assert path.read_bytes() == bad, f"byte {place}: the damaged file was written to"
            continue
        assert after == before, f"byte {place}: read as whole, and is not"
    assert found > 50  # the rest fell into unused space: the index pages of a small journal are mostly empty


def flip_a_note(path: Path) -> None:
    raw = path.read_bytes()
    place = raw.index(b"firm inside")
    path.write_bytes(raw[:place] + b"F" + raw[place + 1 :])


NOT_AS_WRITTEN = r"look k\d+ is not as it was written|does not match its checksum"


def test_a_flipped_bit_inside_a_note_is_found_the_next_day(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    everything(path)
    stat = path.stat()
    flip_a_note(path)
    os.utime(path, ns=(stat.st_atime_ns, stat.st_mtime_ns))  # a failing disk leaves the time as it was
    everything(path)  # nothing tells that it is another file
    monkeypatch.setattr("data_sources.sqlite.health.today", lambda: "2040-01-01")
    with pytest.raises(StoreCorruptError, match=NOT_AS_WRITTEN):
        Journal.open(path)


def test_a_file_that_somebody_else_wrote_is_checked_at_once(path: Path) -> None:
    everything(path)
    flip_a_note(path)
    os.utime(path, ns=(0, 0))
    with pytest.raises(StoreCorruptError, match=NOT_AS_WRITTEN):
        Journal.open(path)


def test_a_journal_left_with_its_log_by_a_crash_is_checked_at_once(path: Path, tmp_path: Path) -> None:
    crashed = tmp_path / "crashed" / "journal.sqlite"
    crashed.parent.mkdir()
    with Journal.open(path) as journal:
        with journal.batch("in the log") as batch:
            batch.insert(a_look("late"))
        for ending in ("", "-wal", CHECKED):
            shutil.copy2(beside(path, ending), beside(crashed, ending))
    assert checks(crashed) == [True, False, False]


def checks(path: Path) -> list[bool]:
    """Whether each of three openings, after which something is written, checks every cell."""
    checked: list[str] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("data_sources.sqlite.health.fault_in", lambda *_: checked.append(id))
        for id in "abc":
            with Journal.open(path) as journal, journal.batch("looked") as batch:
                batch.insert(a_look(id))
    return [id in checked for id in "abc"]


def test_every_cell_is_checked_once_a_day_however_often_it_is_written(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for day in ("2040-01-01", "2040-01-02"):
        monkeypatch.setattr("data_sources.sqlite.health.today", lambda day=day: day)
        assert checks(path) == [True, False, False]


def test_a_row_taken_out_behind_its_back_is_found(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.connection.execute("DELETE FROM look WHERE id = 'k5'")
        assert journal.check() == "look k5 is missing"


def test_a_row_pointing_nowhere_is_found(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.connection.execute("PRAGMA foreign_keys = OFF")
        journal.connection.execute("DELETE FROM flush")
        assert fault_in(journal.connection, Journal.schema) == "a row points at another that is not there"


def test_damage_met_while_reading_is_called_damage(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.connection.execute("UPDATE look SET latest = 'Z026-07-04' WHERE id = 'k3'")
        with pytest.raises(StoreCorruptError, match=r"is damaged .*Z026-07-04"):
            journal.looks()


def test_no_backup_is_made_of_a_damaged_journal(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.connection.execute("UPDATE look SET note = 'X' WHERE id = 'k3'")
        with pytest.raises(StoreCorruptError, match="look k3 is not as it was written"):
            journal.backup()
        assert list((path.parent / "backups").iterdir()) == []


def test_a_damaged_journal_is_restored_and_kept_aside(path: Path) -> None:
    before = everything(path)
    with Journal.open(path) as journal:
        journal.backup()
    damaged = path.read_bytes()[:-5000]
    path.write_bytes(damaged)
    plan = restore(path)
    assert plan.current_fault and plan.tables["look"].now is None and plan.tables["look"].then == 28
    assert path.read_bytes() == damaged and plan.kept_aside is None
    done = restore(path, dry_run=False)
    assert done.kept_aside is not None and done.kept_aside.read_bytes() == damaged
    assert everything(path) == before


def test_the_header_is_read_as_sqlite_writes_it(path: Path) -> None:
    seen = inspect(path, Journal.schema)
    assert (seen.version, seen.fault, seen.foreign) == (Journal.schema.version, None, False)
