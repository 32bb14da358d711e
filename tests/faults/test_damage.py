"""Damage is noticed: a flipped bit, a zeroed page, a value that cannot be; a good copy is offered."""

from __future__ import annotations

import random
import shutil
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from data_sources.garden import open_journal
from data_sources.sqlite.backups import STAMP, list_backups
from data_sources.sqlite.connection import CHECKED, beside, connect
from data_sources.weather.store.records import Origin
from data_sources.weather.store.weather_store import FILE_NAME, WeatherStore
from phenology.model.errors import StoreCorruptError, StoreError
from phenology.model.records import Tree
from phenology.weather.series import DailyWeather
from tests.reports.bench import new_bench

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)
PAGE = 4096


def filled(folder: Path, days: int = 3000) -> Path:
    """A store of some years of two sources and a forecast."""
    chance = np.random.default_rng(7)
    folder.mkdir(exist_ok=True)
    low = chance.normal(5, 6, days).round(1)
    high = low + chance.uniform(2, 12, days).round(1)
    first = date(2026, 6, 30) - timedelta(days=days - 1)
    with WeatherStore.open(folder, create=True) as store:
        for source in ("station", "bench"):
            store.add("p", DailyWeather(first, low, high, source), Origin("file", source), fetched_at=NOON)
        ahead = DailyWeather(date(2026, 7, 1), low[:14], high[:14], "forecast")
        store.add_forecast("p", ahead, Origin("service"), fetched_at=NOON, issued=date(2026, 7, 1))
        store.add("q", DailyWeather(first, low[:40], high[:40], "model"), Origin("other"), fetched_at=NOON)
    return folder / FILE_NAME


def everything(path: Path) -> list[object]:
    with WeatherStore.open(path.parent) as store:
        found: list[object] = []
        for place in ("p", "q"):
            weather = store.read(place)
            found += [
                weather.first_day,
                weather.tmin.tolist(),
                weather.tmax.tolist(),
                weather.source.tolist(),
            ]
            found += [store.suspicious_days(place), store.origin_uses(place), store.replaced_count(place)]
        skill = store.past_forecasts("p")
        return [*found, skill.issued.tolist(), skill.tmin.tolist()]


def test_a_flipped_bit_of_the_weather_is_found_or_harms_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path / "g")
    whole, before = path.read_bytes(), everything(path)
    chance, found = random.Random(20261129), 0
    for _ in range(120):
        place = chance.randrange(len(whole))
        bad = bytearray(whole)
        bad[place] ^= 1 << chance.randrange(8)
        path.write_bytes(bad)
        try:
            after = everything(path)
        except StoreError:
            found += 1
            assert path.read_bytes() == bad, f"byte {place}: the damaged file was written to"
            continue
        assert repr(after) == repr(before), f"byte {place}: read as whole, and is not"
    assert found > 60


def test_a_zeroed_page_of_the_weather_is_found(tmp_path: Path) -> None:
    path = filled(tmp_path / "g")
    whole, before, found = path.read_bytes(), everything(path), 0
    for at in range(0, len(whole), PAGE):
        path.write_bytes(whole[:at] + bytes(PAGE) + whole[at + PAGE :])
        try:
            assert repr(everything(path)) == repr(before)
        except StoreError:
            found += 1
    assert found > len(whole) // PAGE * 0.8


def test_a_row_that_is_gone_or_changed_behind_our_back_is_found(tmp_path: Path) -> None:
    path = filled(tmp_path / "g")
    for change in (
        "DELETE FROM day WHERE day = (SELECT max(day) FROM day)",
        "UPDATE day SET tmin = tmin - 0.1 WHERE source = 1 AND day % 100 = 3",
        "UPDATE forecast SET tmax = 30 WHERE day = (SELECT min(day) FROM forecast)",
        "UPDATE place SET id = 'r' WHERE id = 'q'",
    ):
        copy = tmp_path / "copy"
        shutil.copytree(path.parent, copy)
        connection = connect(copy / FILE_NAME)
        connection.execute(change)
        connection.close()
        with pytest.raises(StoreCorruptError, match="do not match their checksum"):
            everything(copy / FILE_NAME)
        shutil.rmtree(copy)


def test_a_temperature_that_cannot_be_is_not_used_even_between_two_checks(tmp_path: Path) -> None:
    path = filled(tmp_path / "g")
    with WeatherStore.open(path.parent) as store:
        store.connection.execute("UPDATE day SET tmin = 4, tmax = 6.7e10 WHERE source = 1 AND day % 100 = 3")
        with pytest.raises(StoreCorruptError, match=r"a temperature of 6\.7e\+10 °C"):
            store.read("p")


def test_the_newest_good_copy_of_the_weather_is_named_and_the_original_kept(tmp_path: Path) -> None:
    path = filled(tmp_path / "g")
    with WeatherStore.open(path.parent) as store:  # the first change of another day
        more = DailyWeather(date(2026, 7, 1), [9.0], [21.0], "bench")
        store.add("p", more, Origin("file", "bench"), fetched_at=NOON)
    (copy,) = list_backups(path)
    bad = bytearray(path.read_bytes())
    bad[100:PAGE] = bytes(PAGE - 100)
    path.write_bytes(bad)
    with pytest.raises(StoreCorruptError) as caught:
        everything(path)
    assert f"The newest good copy is {copy.path}" in str(caught.value) and path.read_bytes() == bad


@pytest.mark.parametrize("file", ["journal.sqlite", FILE_NAME])
def test_the_deep_check_of_a_large_file_is_not_put_off(tmp_path: Path, file: str) -> None:
    """Whatever the size: the first command of a day looks at every cell before anything is read."""
    bench = new_bench(tmp_path / "garden")
    path = bench.folder / file
    if file == FILE_NAME:
        filled(bench.folder)
        ask = ["weather", "status"]
    else:
        note = "a long note of a look, " * 4000
        with open_journal(bench.folder) as journal, journal.batch("notes") as batch:
            (elm,) = (tree for tree in journal.trees() if tree.label == "Elm 1")
            for n in range(30):
                batch.update(Tree, elm.id, note=f"{n} {note}")
        ask = ["look", "--list"]
    assert path.stat().st_size > (2_000_000 if file == "journal.sqlite" else 200_000)
    bad = bytearray(path.read_bytes())
    at = bad.rindex(b"a long note") if file == "journal.sqlite" else len(bad) // 2
    bad[at] ^= 4
    path.write_bytes(bad)
    beside(path, CHECKED).unlink(missing_ok=True)  # as on another day
    assert "is damaged" in bench.refuses(*ask)


def test_a_backup_dated_in_the_future_does_not_stop_the_backups_of_today(tmp_path: Path) -> None:
    bench = new_bench(tmp_path / "garden")
    made = Path(bench.does("backup").out.strip())
    ahead = made.with_name(f"journal-{(datetime.now(UTC) + timedelta(days=400)).strftime(STAMP)}.sqlite")
    made.rename(ahead)
    bench.does("look", "Elm 1", "soft")
    bench.does("look", "Elm 1", "firm")
    assert len(list_backups(bench.folder / "journal.sqlite")) == 2 and ahead.exists()
