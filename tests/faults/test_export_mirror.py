"""Export and import mirror each other; what was altered is refused by its line; secrets stay home."""

from __future__ import annotations

import csv
import json
import platform
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from data_sources.garden import open_journal
from data_sources.garden_settings import read_settings
from data_sources.weather.store.records import Origin
from data_sources.weather.store.weather_store import WeatherStore
from phenology.weather.series import DailyWeather
from tests.reports.bench import Bench, new_bench

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)
DAY = date(2026, 6, 1)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    bench = new_bench(tmp_path_factory.mktemp("made") / "garden")
    bench.does("look", "Elm 1", "soft")
    bench.does("work", "Elm 1", "wiring")
    bench.does("tree", "edit", "Elm 1", "--note", "twice")
    bench.does("undo")
    return bench.folder


@pytest.fixture
def bench(made: Path, tmp_path: Path) -> Bench:
    return Bench(Path(shutil.copytree(made, tmp_path / "garden")))


def exported(bench: Bench, folder: Path) -> Path:
    bench.does("export", folder)
    return folder


def test_doubtful_days_come_along_and_stay_doubtful(bench: Bench, tmp_path: Path) -> None:
    with open_journal(bench.folder) as journal:
        place = journal.places()[0].id
    with WeatherStore.open(bench.folder, create=True) as store:
        weather = DailyWeather(DAY, [4.0, 5.0, 6.0], [14.0, 15.0, 46.0], "bench")
        suspect = {date(2026, 6, 2): "a jump", date(2026, 6, 3): "too hot"}
        store.add(place, weather, Origin("file", "bench.csv"), fetched_at=NOON, suspect=suspect)
        store.accept(place, [date(2026, 6, 2)])
        before = store.suspicious_days(place), store.read(place).tmax.tolist()
    out = exported(bench, tmp_path / "out")
    bench.does("init", tmp_path / "again", "--from", out)
    with WeatherStore.open(tmp_path / "again") as store:
        assert (store.suspicious_days(place), store.read(place).tmax.tolist()) == before
    text = (out / "doubted.csv").read_text()
    (out / "doubted.csv").write_text(text.replace("46.0", "4.6e9"))
    said = Bench(tmp_path / "third").refuses("init", tmp_path / "third", "--from", out)
    assert "doubted.csv, line 3" in said and not (tmp_path / "third").exists()


def test_no_key_and_no_name_of_a_computer_is_exported(bench: Bench, tmp_path: Path) -> None:
    settings = bench.folder / "garden.toml"
    with settings.open("a") as file:
        file.write('\n[weather.services]\napi_key = "very-secret"\nradius_km = 40.0\n')
        file.write(
            'cache_folder = "/home/somebody/cache"\n\n[weather.services.proxies]\nhttps = "http://me:pw@proxy"\n'
        )
    out = exported(bench, tmp_path / "out")
    text = "".join(path.read_text("utf-8") for path in out.iterdir())
    for secret in ("very-secret", "somebody", "me:pw", platform.node() or "no name"):
        assert secret not in text
    assert read_settings(out).weather_services == {"radius_km": 40.0}
    with open_journal(bench.folder) as journal:  # here they are still
        assert {row["device"] for row in journal.export_changes()} == {platform.node() or "this machine"}


def edit(path: Path, change: Callable[[list[dict[str, str]]], None]) -> None:
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    names = list(rows[0])
    change(rows)
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, names)
        writer.writeheader()
        writer.writerows(rows)


CHANGES = [
    ("at", "yesterday"), ("at", "2026-07-01T12:00:00"), ("undoes", "nothing"), ("table_name", "tre"),
    ("table_name", "change"), ("row_id", "other"), ("after", "[]"), ("after", "{}"), ("after", "null"),
    ("after", "[" * 100_000), ("after", '{"id":1}'), ("seq", "0"), ("seq", "9" * 30),
    ("seq", "9" * 5000), ("seq", "x"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "value"), CHANGES, ids=[f"{n}-{v[:12]}" for n, v in CHANGES])
def test_an_altered_history_is_refused_by_its_line(
    bench: Bench, tmp_path: Path, name: str, value: str
) -> None:
    out = exported(bench, tmp_path / "out")
    edit(out / "changes.csv", lambda rows: rows[-1].update({name: value}))
    said = bench.refuses("init", tmp_path / "again", "--from", out)
    assert "changes.csv, line" in said and not (tmp_path / "again").exists()


def test_an_altered_date_in_the_history_is_refused(bench: Bench, tmp_path: Path) -> None:
    out = exported(bench, tmp_path / "out")

    def alter(rows: list[dict[str, str]]) -> None:
        look = next(row for row in rows if row["table_name"] == "look")
        look["after"] = json.dumps(json.loads(look["after"]) | {"latest": "soon"})

    edit(out / "changes.csv", alter)
    assert "changes.csv, line" in bench.refuses("init", tmp_path / "again", "--from", out)


VALUES = [
    ("looks.csv", "stage", "blooming"), ("looks.csv", "kind", "guessed"), ("looks.csv", "id", ""),
    ("looks.csv", "earliest", "2027-01-01"), ("works.csv", "operation", "dancing"), ("works.csv", "id", ""),
    ("flushes.csv", "season", "0"), ("flushes.csv", "id", ""), ("flushes.csv", "started_by", "chance"),
    ("stands.csv", "id", ""), ("places.csv", "latitude", "95"), ("trees.csv", "id", ""),
]  # fmt: skip


@pytest.mark.parametrize(("file", "name", "value"), VALUES)
def test_a_garden_is_not_rebuilt_from_values_that_no_flushcast_writes(
    bench: Bench, tmp_path: Path, file: str, name: str, value: str
) -> None:
    out = exported(bench, tmp_path / "out")
    edit(out / file, lambda rows: rows[0].update({name: value}))
    assert f"{file}, line 2" in bench.refuses("init", tmp_path / "again", "--from", out)
    assert not (tmp_path / "again").exists()


def test_rows_without_an_id_are_not_passed_over_in_silence(bench: Bench, tmp_path: Path) -> None:
    out = exported(bench, tmp_path / "out")
    edit(out / "stands.csv", lambda rows: rows[0].update(id=""))
    assert "this row has no id" in " ".join(bench.refuses("import", out).split())


def test_a_garden_that_lost_its_settings_is_mended(bench: Bench) -> None:
    (bench.folder / "garden.toml").unlink()
    assert f"flushcast init {bench.folder}" in bench.refuses("tree", "list")
    assert bench("init", bench.folder, "--lat", "1", "--lon", "1").code == 2
    assert "is kept" in bench.does("init", bench.folder, "--name", "Larkfield", "--units", "F").words
    assert "soft" in bench.does("look", "--list").out or "extending" in bench.does("look", "--list").out
    assert read_settings(bench.folder).units == "F"


STRANGE = [
    "CREATE TRIGGER t AFTER INSERT ON look BEGIN UPDATE tree SET note = 'x'; END",
    "CREATE VIEW v AS SELECT * FROM look",
    "DROP INDEX look_of_tree",
    "DROP TRIGGER change_is_never_edited",
    "ALTER TABLE tree ADD COLUMN more TEXT",
    "PRAGMA user_version = 0",
    "PRAGMA user_version = -3",
]


@pytest.mark.parametrize("statement", STRANGE)
def test_a_backup_of_another_shape_is_refused(bench: Bench, tmp_path: Path, statement: str) -> None:
    backup = tmp_path / "backup.sqlite"
    bench.does("backup", backup)
    before = (bench.folder / "journal.sqlite").read_bytes()
    with closing(sqlite3.connect(backup, isolation_level=None)) as connection:
        connection.execute(statement)
    assert "cannot be used" in bench.refuses("restore", backup, "--yes")
    assert (bench.folder / "journal.sqlite").read_bytes() == before
    shutil.copy(backup, bench.folder / "journal.sqlite")  # nor is it used where a sync put it
    for log in bench.folder.glob("journal.sqlite-*"):
        log.unlink()
    assert "is damaged" in bench.refuses("tree", "list")
