"""A garden of version 1, kept here as it was written, is brought up to date and loses nothing."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from data_sources.journal.store import Journal
from data_sources.sqlite.backups import list_backups
from data_sources.sqlite.connection import connect, pragma
from data_sources.sqlite.schema import Migration
from data_sources.weather.store.steps import WEATHER_SCHEMA
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import StoreError
from tests.reports.bench import Bench

KEPT = Path(__file__).parent / "garden_of_version_1"


@pytest.fixture
def garden(tmp_path: Path) -> Path:
    return Path(shutil.copytree(KEPT, tmp_path / "garden"))


def version(path: Path) -> int:
    with closing(connect(path, "ro")) as connection:
        found: int = pragma(connection, "user_version")
        return found


def test_a_garden_of_version_1_reads_on_and_is_written_to(garden: Path) -> None:
    assert (version(garden / "journal.sqlite"), version(garden / "weather.sqlite")) == (1, 1)
    bench = Bench(garden, "2026-06-05")
    listed = bench.does("look", "--list").out
    assert listed.count("kept for ten years") == 3 and "No work yet" in bench.does("work", "--list").out
    assert "Took back: look: extended" in bench.does("undo").words
    with WeatherStore.open(garden) as store:
        weather = store.read("p1")
        assert (weather.first_day, len(weather)) == (date(2026, 4, 1), 71)
        assert weather.tmax[:3].tolist() == [15.0, 16.0, 17.0]
        assert [(d.day, d.reason, d.accepted) for d in store.suspicious_days("p1")] == [
            (date(2026, 5, 1), "a jump", False)
        ]
        assert store.accept("p1") == 1 and store.check() is None
    assert version(garden / "weather.sqlite") == WEATHER_SCHEMA.version > 1
    (before,) = [b for b in list_backups(garden / "weather.sqlite") if b.why]
    assert before.path.read_bytes()[:16] == b"SQLite format 3\0" and version(before.path) == 1


def test_the_upgrade_seals_nothing_wrong_and_sees_damage_afterwards(garden: Path) -> None:
    with WeatherStore.open(garden) as store:
        store.accept("p1")  # the first writing after the upgrade seals what is there
    with closing(sqlite3.connect(garden / "weather.sqlite", isolation_level=None)) as connection:
        connection.execute("UPDATE day SET tmax = tmax + 1 WHERE source = 1 AND day % 7 = 0")
    with pytest.raises(StoreError, match="do not match their checksum"):
        WeatherStore.open(garden)


NEXT = {
    "journal.sqlite": Migration(
        "marks", ("ALTER TABLE look ADD COLUMN mark TEXT", "CREATE TABLE mark (id TEXT)")
    ),
    "weather.sqlite": Migration("hours", ("CREATE TABLE hour (id INTEGER)", "DELETE FROM seal")),
}
BROKEN = Migration("broken", ("CREATE TABLE half (id TEXT)", "CREATE TABLE half (id TEXT)"))


@pytest.fixture(params=["journal.sqlite", "weather.sqlite"])
def store(request: pytest.FixtureRequest, garden: Path) -> Iterator[tuple[type, Path]]:
    kind: type = Journal if request.param == "journal.sqlite" else WeatherStore
    yield kind, garden / request.param


def test_a_step_that_fails_leaves_the_file_as_it_was(
    store: tuple[type, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    kind, path = store
    kind(path).close()  # type: ignore[call-arg]
    before, now = path.read_bytes(), kind.schema  # type: ignore[attr-defined]
    monkeypatch.setattr(kind, "schema", replace(now, steps=(*now.steps, BROKEN)))
    with pytest.raises(StoreError, match="a backup is in"):
        kind(path)
    monkeypatch.undo()
    kind(path).close()  # type: ignore[call-arg]
    assert version(path) == now.version and before[:100] == path.read_bytes()[:100]


def test_the_next_version_opens_this_one_and_this_one_leaves_the_next_alone(
    store: tuple[type, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    kind, path = store
    kind(path).close()  # type: ignore[call-arg]
    now = kind.schema  # type: ignore[attr-defined]
    monkeypatch.setattr(kind, "schema", replace(now, steps=(*now.steps, NEXT[path.name])))
    kind(path).close()  # type: ignore[call-arg]
    assert version(path) == now.version + 1
    assert any(backup.why == f"before-v{now.version + 1}" for backup in list_backups(path))
    monkeypatch.undo()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="was written by a newer flushcast"):
        kind(path)
    assert path.read_bytes() == before
