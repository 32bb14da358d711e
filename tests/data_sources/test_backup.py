"""Backups: made, thinned, checked and put back."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from data_sources.journal.restoring import restore
from data_sources.journal.store import Journal
from data_sources.sqlite import backups
from data_sources.sqlite.backups import list_backups, newest_good, rolling_backup, spaced, thin, write_backup
from data_sources.sqlite.connection import connect
from data_sources.sqlite.health import inspect
from data_sources.sqlite.schema import Migration
from phenology.model.errors import StoreCorruptError, StoreError, StoreLockedError, StoreTooNewError
from phenology.model.records import Look
from tests.data_sources.journal_help import a_later_flushcast, a_look, fill


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return fill(tmp_path / "journal.sqlite", looks=3)


def add(path: Path, *ids: str) -> list[str]:
    """Save looks, each its own batch; returns the journal's warnings."""
    with Journal.open(path) as journal:
        for id in ids:
            with journal.batch(f"looked: {id}") as batch:
                batch.insert(a_look(id))
        return journal.warnings


def look_ids(path: Path) -> list[str]:
    with Journal.open(path) as journal:
        return [look.id for look in journal.looks()]


def pretend(path: Path, at: datetime, content: bytes = b"") -> Path:
    """A file named as a routine backup of that time."""
    folder = path.parent / "backups"
    folder.mkdir(exist_ok=True)
    backup = folder / f"journal-{at.strftime('%Y%m%dT%H%M%S%fZ')}.sqlite"
    backup.write_bytes(content)
    return backup


def test_a_backup_is_a_whole_journal_of_its_own(path: Path, tmp_path: Path) -> None:
    with Journal.open(path) as journal:
        in_folder = journal.backup()
        named = journal.backup(tmp_path / "stick.sqlite")
    for backup in (in_folder, named):
        assert inspect(backup, Journal.schema, whole=True).fault is None
        assert look_ids(backup) == ["k0", "k1", "k2"]
    assert in_folder.parent == path.parent / "backups"
    assert newest_good(path, Journal.schema) is not None


def test_a_backup_never_replaces_a_file(path: Path, tmp_path: Path) -> None:
    (tmp_path / "stick.sqlite").write_text("holiday photos")
    with Journal.open(path) as journal, pytest.raises(StoreError, match="exists already; name a new file"):
        journal.backup(tmp_path / "stick.sqlite")
    assert (tmp_path / "stick.sqlite").read_text() == "holiday photos"


def test_a_backup_that_cannot_be_written_is_one_sentence(path: Path, tmp_path: Path) -> None:
    with Journal.open(path) as journal, pytest.raises(StoreError, match="The journal is unchanged"):
        journal.backup(tmp_path / "no such folder" / "x.sqlite")


def test_the_first_change_of_a_day_is_preceded_by_one_backup(path: Path) -> None:
    add(path, "k3", "k4")
    add(path, "k5")
    (backup,) = list_backups(path)
    assert look_ids(backup.path) == ["k0", "k1", "k2"]
    backup.path.rename(pretend(path, datetime.now(UTC) - timedelta(days=1)))
    add(path, "k6")
    assert len(list_backups(path)) == 2 and look_ids(list_backups(path)[0].path)[-1] == "k5"


def test_reading_makes_no_backup(path: Path) -> None:
    look_ids(path)
    assert list_backups(path) == []


def test_a_routine_backup_that_fails_is_reported_and_the_change_is_saved(path: Path) -> None:
    (path.parent / "backups").write_text("a file where the folder should be")
    (warning,) = add(path, "k3", "k4")
    assert warning.startswith("today's backup could not be made: writing the backup")
    assert look_ids(path)[-2:] == ["k3", "k4"]


def test_the_last_ten_and_one_a_month_are_kept(path: Path) -> None:
    now = datetime(2026, 7, 20, 8, tzinfo=UTC)
    days = [now - timedelta(days=n) for n in range(80)]
    keep = spaced(days)
    assert sorted(keep, reverse=True)[:10] == days[:10]
    assert [d.date().isoformat() for d in sorted(keep, reverse=True)[10:]] == ["2026-06-30", "2026-05-31"]
    for day in days:
        pretend(path, day)
    assert len(thin(path)) == 80 - 12 and {b.at for b in list_backups(path)} == keep


def test_thinning_leaves_backups_with_a_reason_and_files_of_others(path: Path) -> None:
    with Journal.open(path) as journal:
        for n in range(15):
            pretend(path, datetime(2026, 7, 1, n, tzinfo=UTC))
        reason = pretend(path, datetime(2026, 1, 1, tzinfo=UTC))
        reason = reason.rename(reason.with_name(reason.stem + "-before-v2.sqlite"))
        letter = path.parent / "backups" / "letter.txt"
        letter.write_text("to the club")
        assert rolling_backup(journal.connection, path, Journal.schema) is not None
    assert reason.exists() and letter.exists()
    assert len([b for b in list_backups(path) if b.why is None]) == 10


def test_a_restore_says_first_what_it_would_change(path: Path) -> None:
    with Journal.open(path) as journal:
        backup = journal.backup()
        with journal.batch("more") as batch:
            batch.insert(a_look("k3"))
            batch.insert(a_look("k4"))
            batch.update(Look, "k0", note="corrected")
            batch.delete(Look, "k1")
    before = path.read_bytes()
    plan = restore(path)
    assert plan.source == backup and plan.kept_aside is None
    looks = plan.tables["look"]
    assert (looks.now, looks.then, looks.comes_back, looks.goes, looks.differs) == (4, 3, 1, 2, 1)
    assert plan.tables["tree"].comes_back == plan.tables["tree"].goes == 0
    assert path.read_bytes() == before and not plan.nothing_changes

    done = restore(path, dry_run=False)
    assert done.tables == plan.tables
    assert look_ids(path) == ["k0", "k1", "k2"]
    assert done.kept_aside is not None and look_ids(done.kept_aside) == ["k0", "k2", "k3", "k4"]
    assert restore(path, backup).nothing_changes
    restore(path, done.kept_aside, dry_run=False)  # and back again
    assert look_ids(path) == ["k0", "k2", "k3", "k4"]


def test_a_missing_journal_is_restored(path: Path) -> None:
    with Journal.open(path) as journal:
        journal.backup()
    path.unlink()
    assert restore(path).current_fault == "it is missing"
    assert restore(path, dry_run=False).kept_aside is None
    assert look_ids(path) == ["k0", "k1", "k2"]


def test_a_journal_somebody_has_open_sees_the_restore(path: Path) -> None:
    with Journal.open(path) as reader:
        backup = reader.backup()
        add(path, "k3")
        assert len(reader.looks()) == 4
        restore(path, backup, dry_run=False)
        assert len(reader.looks()) == 3 and reader.check() is None


def test_a_restore_waits_for_nobody_in_the_middle_of_a_change(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Journal.open(path) as writer:
        backup = writer.backup()
        add(path, "k3")
        monkeypatch.setattr("data_sources.sqlite.connection.PATIENCE", 0)
        with writer.batch("import") as batch:
            batch.insert(a_look("k4"))
            with pytest.raises(StoreError, match=r"is in use: .* The journal is as it was"):
                restore(path, backup, dry_run=False)
        assert [look.id for look in writer.looks()] == ["k0", "k1", "k2", "k3", "k4"]


def test_nothing_can_be_saved_between_the_copy_kept_aside_and_the_restore(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("data_sources.sqlite.connection.PATIENCE", 0)
    with Journal.open(path) as other:
        backup = other.backup()
        tried = []

        def save_meanwhile(*arguments: object, **more: object) -> Path:
            aside = write_backup(*arguments, **more)  # type: ignore[arg-type]
            with pytest.raises(StoreLockedError), other.batch("meanwhile") as batch:
                batch.insert(a_look("k9"))
            tried.append(aside)
            return aside

        other._backup_tried = True
        monkeypatch.setattr("data_sources.journal.restoring.write_backup", save_meanwhile)
        restore(path, backup, dry_run=False)
        assert len(tried) == 1


def test_a_copied_journal_is_a_backup_too_even_with_its_log_beside(path: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy" / "journal.sqlite"
    copy.parent.mkdir()
    with Journal.open(path) as journal:
        with journal.batch("only in the log so far") as batch:
            batch.insert(a_look("k3"))
        for ending in ("", "-wal"):
            source = path.with_name(path.name + ending)
            copy.with_name(copy.name + ending).write_bytes(source.read_bytes())
    other = fill(tmp_path / "other" / "journal.sqlite")
    assert restore(other, copy, dry_run=False).tables["look"].comes_back == 4
    assert look_ids(other) == ["k0", "k1", "k2", "k3"]


@pytest.mark.parametrize("cut", [0, 60, -4096])
def test_a_damaged_backup_is_refused_and_passed_over(path: Path, cut: int) -> None:
    with Journal.open(path) as journal:
        good, bad = journal.backup(), journal.backup()
    bad.write_bytes(bad.read_bytes()[:cut])
    before = path.read_bytes()
    with pytest.raises(StoreCorruptError, match=r"backup .* cannot be used: .* Nothing was changed"):
        restore(path, bad, dry_run=False)
    assert path.read_bytes() == before
    assert restore(path).source == good


def test_an_older_backup_is_restored_and_upgraded_and_a_newer_one_refused(path: Path) -> None:
    with Journal.open(path) as journal:
        old = journal.backup()
    with a_later_flushcast(Migration("moods", ("ALTER TABLE look ADD COLUMN mood TEXT",))):
        add(path, "k3")
        with Journal.open(path) as journal:
            new = journal.backup()
        assert restore(path, old).tables["look"].goes == 1
        restore(path, old, dry_run=False)
        assert look_ids(path) == ["k0", "k1", "k2"]
    before = path.read_bytes()
    own = Journal.schema.version
    newer = rf"newer flushcast \(version {own + 1}, this one reads up to {own}\)"
    with pytest.raises(StoreTooNewError, match=newer):
        restore(path, new, dry_run=False)
    assert path.read_bytes() == before


def test_a_newer_journal_is_not_replaced_by_an_old_backup(path: Path) -> None:
    with Journal.open(path) as journal:
        old = journal.backup()
    with a_later_flushcast(Migration("later", ())):
        add(path, "k3")
    before = path.read_bytes()
    for dry_run in (True, False):
        with pytest.raises(StoreTooNewError, match=r"newer flushcast; restore with that one\. It was left"):
            restore(path, old, dry_run=dry_run)
    assert path.read_bytes() == before


def test_what_is_no_backup_is_refused(path: Path, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no good backup in"):
        restore(path)
    with pytest.raises(StoreError, match="there is no backup"):
        restore(path, tmp_path / "nowhere.sqlite")
    other = tmp_path / "recipes.sqlite"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE recipe (name TEXT)")
    connection.close()
    with pytest.raises(StoreCorruptError, match="it is not a journal"):
        restore(path, other)


def test_a_full_disk_leaves_no_half_backup(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def small(*arguments: object, **more: object) -> sqlite3.Connection:
        connection = connect(*arguments, **more)  # type: ignore[arg-type]
        connection.execute("PRAGMA max_page_count = 4")
        return connection

    with Journal.open(path) as journal:
        monkeypatch.setattr(backups, "connect", small)
        with pytest.raises(StoreError, match=r"the disk is full\. The journal is unchanged"):
            journal.backup()
        assert list((path.parent / "backups").iterdir()) == []
