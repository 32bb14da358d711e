"""The store of accepted weather: what replaces what, what is kept, and how failure reads."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import threading
from contextlib import closing
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from data_sources.weather.store.weather_store import FILE_NAME, Origin, WeatherStore
from phenology.model.errors import (
    StoreCorruptError,
    StoreError,
    StoreLockedError,
    StoreTooNewError,
    WeatherError,
)
from phenology.weather.series import DailyWeather
from tests.data_sources.series import fingerprint

MARCH = date(2026, 3, 1)
NOON = datetime(2026, 3, 20, 12, tzinfo=UTC)
FILE = Origin("file", "march.csv")
SERVICE = Origin("service", "station 1", "Source: a service")
BENCH, ELSEWHERE = "place-1", "place-2"


@pytest.fixture
def store(tmp_path):
    with WeatherStore.open(tmp_path, create=True) as opened:
        yield opened


def days(tmin, tmax, source="station", first=MARCH):
    return DailyWeather(first, tmin, tmax, source)


def test_two_who_find_an_empty_file_fill_one(tmp_path, monkeypatch):
    file, size_of = tmp_path / FILE_NAME, Path.stat
    file.touch()

    def filled_meanwhile(path, **more):
        found = size_of(path, **more)
        if path == file and not found.st_size:
            monkeypatch.undo()
            with WeatherStore.open(tmp_path, create=True) as other:
                other.add(BENCH, days([1.0], [9.0]), FILE, fetched_at=NOON)
        return found

    monkeypatch.setattr(Path, "stat", filled_meanwhile)
    with WeatherStore.open(tmp_path, create=True) as store:
        assert store.read(BENCH).tmin.tolist() == [1.0]


def test_what_goes_in_comes_out(store):
    weather = days([1.0, np.nan, 3.0, np.nan], [9.0, np.nan, 7.5, 8.0])
    report = store.add(BENCH, weather, FILE, fetched_at=NOON)
    assert (report.offered, report.added, report.replaced, report.kept) == (3, 3, 0, 0)
    again = store.read(BENCH)
    assert again.first_day == MARCH
    assert_array_equal(again.tmin, weather.tmin)
    assert_array_equal(again.tmax, weather.tmax)
    assert again.source.tolist() == ["station", "", "station", "station"]


def test_places_do_not_mix(store):
    store.add(BENCH, days([1.0], [9.0]), FILE, fetched_at=NOON)
    store.add(ELSEWHERE, days([5.0], [6.0]), FILE, fetched_at=NOON)
    assert store.read(BENCH).tmin[0] == 1.0
    assert store.read(ELSEWHERE).tmin[0] == 5.0
    with pytest.raises(WeatherError, match="no weather yet"):
        store.read("place-3")


def test_better_sources_are_read_and_worse_ones_stay_for_comparison(store):
    for source, low in (("model", 3.0), ("bench", 1.0), ("station", 2.0), ("filled", 9.0)):
        store.add(BENCH, days([low], [9.5], source), Origin(source), fetched_at=NOON)
    best = store.read(BENCH)
    assert (best.source[0], best.tmin[0]) == ("bench", 1.0)
    station = store.read_source(BENCH, "station")
    assert station is not None and station.tmin[0] == 2.0
    assert store.read_source(BENCH, "forecast") is None


def test_half_a_bench_day_leaves_the_station_day_whole(store):
    store.add(BENCH, days([1.0], [np.nan], "bench"), FILE, fetched_at=NOON)
    store.add(BENCH, days([2.0], [9.0], "station"), SERVICE, fetched_at=NOON)
    assert store.read(BENCH).source.tolist() == ["station"]


def test_a_correction_replaces_and_the_old_value_is_kept(store):
    store.add(BENCH, days([1.0, 2.0], [9.0, 8.0]), SERVICE, fetched_at=NOON)
    later = NOON + timedelta(days=1)
    report = store.add(BENCH, days([1.0, 2.4], [9.0, 8.0]), SERVICE, fetched_at=later)
    assert (report.unchanged, report.replaced, report.kept) == (1, 1, 0)
    assert store.replaced_count(BENCH) == 1
    assert store.query("SELECT day, tmin, tmax FROM replaced") == [(date(2026, 3, 2).toordinal(), 2.0, 8.0)]
    assert store.read(BENCH).tmin[1] == 2.4


@pytest.mark.parametrize(
    "offered, suspect, prefer, expected",
    [
        (days([5.0], [np.nan]), {}, True, "kept"),  # less than we had
        (days([5.0], [9.0]), {}, False, "kept"),  # another provider
        (days([5.0], [9.0]), {}, True, "replaced"),  # another provider, on purpose
        (days([5.0], [9.0]), {MARCH: "step of 30 degrees"}, True, "held"),  # doubtful over good
        (days([np.nan], [np.nan]), {}, True, None),  # nothing at all
    ],
)
def test_worse_never_replaces_better(store, offered, suspect, prefer, expected):
    store.add(BENCH, days([1.0], [9.0]), SERVICE, fetched_at=NOON)
    report = store.add(BENCH, offered, FILE, fetched_at=NOON, suspect=suspect, prefer=prefer)
    counted = {name: getattr(report, name) for name in ("added", "replaced", "kept", "unchanged", "held")}
    assert {name for name, n in counted.items() if n} == ({expected} if expected else set())
    assert store.read(BENCH).tmin[0] == (5.0 if expected == "replaced" else 1.0)


def test_a_doubtful_day_is_shown_unused_and_gives_way_to_a_good_one(store):
    report = store.add(
        BENCH, days([1.0, 2.0], [9.0, 48.0]), SERVICE, fetched_at=NOON, suspect={date(2026, 3, 2): "48 °C"}
    )
    assert report.suspicious == 1
    assert len(store.read(BENCH)) == 1
    (shown,) = store.suspicious_days(BENCH)
    assert (shown.day, shown.tmax, shown.reason, shown.accepted) == (date(2026, 3, 2), 48.0, "48 °C", False)
    store.add(BENCH, days([2.0], [18.0], first=date(2026, 3, 2)), FILE, fetched_at=NOON)
    assert store.read(BENCH).tmax.tolist() == [9.0, 18.0]
    assert store.suspicious_days(BENCH) == []


def test_an_accepted_day_is_used_and_stays_accepted(store):
    mark = {date(2026, 3, 2): "48 °C"}
    store.add(BENCH, days([1.0, 2.0], [9.0, 48.0]), SERVICE, fetched_at=NOON, suspect=mark)
    assert store.accept(BENCH, [date(2026, 3, 2)]) == 1
    assert store.read(BENCH).tmax.tolist() == [9.0, 48.0]
    store.add(BENCH, days([1.0, 2.0], [9.0, 48.0]), SERVICE, fetched_at=NOON, suspect=mark)
    assert store.suspicious_days(BENCH)[0].accepted
    assert store.accept(BENCH) == 0


def test_stored_days_can_be_marked_later(store):
    store.add(BENCH, days([1.0, 2.0], [9.0, 9.0]), SERVICE, fetched_at=NOON)
    assert store.mark(BENCH, "station", {MARCH: "far from its neighbours"}) == 1
    assert store.mark(BENCH, "station", {MARCH: "again"}) == 0
    assert store.read(BENCH).first_day == date(2026, 3, 2)
    assert store.accept(BENCH, source="bench") == 0
    assert store.accept(BENCH, source="station") == 1


def test_offering_the_same_days_with_a_new_doubt_marks_them(store):
    store.add(BENCH, days([1.0, 2.0], [9.0, 9.0]), SERVICE, fetched_at=NOON)
    report = store.add(
        BENCH, days([1.0, 2.0], [9.0, 9.0]), FILE, fetched_at=NOON, suspect={MARCH: "flat for 9 days"}
    )
    assert (report.unchanged, report.suspicious, report.replaced) == (2, 1, 0)
    assert store.origin_uses(BENCH)[0].origin == SERVICE


def test_the_newest_file_can_be_taken_back(store):
    store.add(BENCH, days([1.0, 2.0], [9.0, 8.0]), SERVICE, fetched_at=NOON)
    before = fingerprint(store.read(BENCH))
    store.add(BENCH, days([5.0, 2.0, 3.0], [9.5, 8.0, 7.0]), FILE, fetched_at=NOON, prefer=True)
    store.add(BENCH, days([5.0], [9.5]), FILE, fetched_at=NOON)  # nothing new: not what is taken back
    undone = store.take_back(BENCH)
    assert undone is not None
    assert (undone.origin, undone.removed, undone.restored) == (FILE, 2, 1)
    assert fingerprint(store.read(BENCH)) == before
    assert store.replaced_count(BENCH) == 0
    assert store.take_back(BENCH) is not None
    assert store.find(BENCH) is None
    assert store.take_back(BENCH) is None


def test_taking_back_returns_a_value_whose_replacement_was_replaced_too(store):
    for low in (1.0, 2.0, 3.0):
        store.add(BENCH, days([low], [9.0]), SERVICE, fetched_at=NOON)
    seen = []
    while (weather := store.find(BENCH)) is not None:
        seen.append(weather.tmin[0])
        store.take_back(BENCH)
    assert seen == [3.0, 2.0, 1.0]


def test_an_answer_with_nothing_new_still_counts_as_asked(store):
    store.add(BENCH, days([1.0], [9.0]), SERVICE, fetched_at=NOON)
    later = NOON + timedelta(days=3)
    store.add(BENCH, days([1.0], [9.0]), SERVICE, fetched_at=later)
    assert store.origin_uses(BENCH)[0].fetched_at == later


def test_doubtful_weather_alone_is_said(store):
    store.add(BENCH, days([1.0], [72.0]), FILE, fetched_at=NOON, suspect={MARCH: "72 °C"})
    assert store.find(BENCH) is None
    with pytest.raises(WeatherError, match="all weather there is looks doubtful"):
        store.read(BENCH)


def forecast(store, issued, lows, provider="service", **more):
    weather = days(lows, [low + 8.0 for low in lows], "forecast", first=issued)
    return store.add_forecast(
        BENCH, weather, Origin(provider, "", "Forecast: a service"), fetched_at=NOON, issued=issued, **more
    )


def test_measured_days_then_the_newest_forecast(store):
    store.add(BENCH, days([1.0, 1.0, 1.0], [9.0, 9.0, 9.0]), FILE, fetched_at=NOON)
    forecast(store, date(2026, 3, 3), [2.0, 2.1, 2.2, 2.3, 2.4])
    forecast(store, date(2026, 3, 5), [3.0, 3.1])
    now = store.read(BENCH)
    # The 4th was never measured: the forecast that had it stands in. The 7th is beyond the newest issue.
    assert now.tmin.tolist() == [1.0, 1.0, 1.0, 2.1, 3.0, 3.1]
    assert now.source.tolist() == ["station"] * 3 + ["forecast"] * 3


def test_as_of_sees_neither_later_days_nor_later_forecasts(store):
    store.add(BENCH, days([1.0] * 6, [9.0] * 6), FILE, fetched_at=NOON)
    forecast(store, date(2026, 3, 3), [2.0, 2.1, 2.2])
    forecast(store, date(2026, 3, 5), [3.0, 3.1])
    then = store.read(BENCH, as_of=date(2026, 3, 4))
    assert then.tmin.tolist() == [1.0] * 4 + [2.2]
    before = store.read(BENCH, as_of=date(2026, 3, 2))
    assert before.tmin.tolist() == [1.0, 1.0]
    with pytest.raises(WeatherError, match="no weather up to 2026-02-28"):
        store.read(BENCH, as_of=date(2026, 2, 28))


def test_one_issue_a_day_is_kept_and_past_ones_measure_skill(store):
    forecast(store, MARCH, [1.0, 2.0])
    assert forecast(store, MARCH, [1.5, 2.5]).replaced == 2
    forecast(store, date(2026, 3, 2), [2.2])
    past = store.past_forecasts(BENCH)
    assert (past.day - past.issued).tolist() == [0, 1, 0]
    assert past.tmin.tolist() == [1.5, 2.5, 2.2]
    assert set(past.provider) == {"service"}
    assert len(store.past_forecasts(BENCH, as_of=MARCH).day) == 2


def test_days_before_the_issue_are_no_forecast(store):
    weather = days([1.0, 2.0, 3.0], [9.0, 9.0, 9.0], "forecast")
    store.add_forecast(BENCH, weather, SERVICE, fetched_at=NOON, issued=date(2026, 3, 3))
    assert store.read(BENCH).first_day == date(2026, 3, 3)


def test_an_empty_forecast_leaves_the_one_before(store):
    forecast(store, MARCH, [1.0, 2.0])
    with pytest.raises(WeatherError, match="no day with both"):
        store.add_forecast(BENCH, days([np.nan], [9.0], "forecast"), SERVICE, fetched_at=NOON, issued=MARCH)
    assert store.read(BENCH).tmin.tolist() == [1.0, 2.0]


def test_no_forecast_reaches_out_of_all_time(store):
    forecast(store, MARCH, [1.0, 2.0])
    with pytest.raises(WeatherError, match="no day with both"):
        far = days([1.0], [9.0], "forecast", first=date(9999, 12, 31))
        store.add_forecast(BENCH, far, SERVICE, fetched_at=NOON, issued=MARCH)
    with pytest.raises(WeatherError, match="no weather of 9999-12-31"):
        store.add(BENCH, days([1.0], [9.0], first=date(9999, 12, 31)), FILE, fetched_at=NOON)
    # One that an older flushcast has taken is not read.
    batch = store.query("SELECT max(key) FROM batch")[0][0]
    with store.writing():
        store.connection.execute("INSERT INTO forecast VALUES (1, ?, 0, 3652059, 1.0, 9.0)", (batch,))
    assert store.read(BENCH).last_day == date(2026, 3, 2)
    assert (store.past_forecasts(BENCH).day - store.past_forecasts(BENCH).issued).tolist() == [0, 1]


def test_the_forecast_proper_is_read_though_its_ensemble_came_after_it(store):
    forecast(store, MARCH, [1.0, 2.0])
    forecast(store, MARCH, [5.0, 6.0], "ensemble", members=[days([5.0, 6.0], [9.0, 9.0], "forecast")])
    assert store.read(BENCH).tmin.tolist() == [1.0, 2.0]
    assert len(store.members(BENCH)) == 1


def test_a_later_run_of_a_day_keeps_the_first_days_of_the_earlier(store):
    """One that begins tomorrow does not take today from the one that began today."""
    forecast(store, MARCH, [1.0, 2.0, 3.0])
    later = days([5.0, 6.0], [13.0, 14.0], "forecast", first=date(2026, 3, 2))
    store.add_forecast(BENCH, later, Origin("service"), fetched_at=NOON, issued=MARCH)
    assert store.past_forecasts(BENCH).tmin.tolist() == [1.0, 5.0, 6.0]


def test_ensemble_members_come_back_whole_and_old_ones_go(store):
    members = [days([low, low], [9.0, 9.0], "forecast") for low in (1.0, 2.0, 3.0)]
    forecast(store, MARCH, [2.0, 2.0], members=members)
    assert [m.tmin.tolist() for m in store.members(BENCH)] == [[1.0, 1.0], [2.0, 2.0], [3.0, 3.0]]
    assert store.read(BENCH).tmin.tolist() == [2.0, 2.0]
    assert store.members(BENCH, as_of=date(2026, 2, 1)) == []
    forecast(store, MARCH + timedelta(days=60), [4.0])
    assert store.members(BENCH) == []
    assert len(store.past_forecasts(BENCH).day) == 3


def test_forecast_days_are_refused_among_measured_ones(store):
    with pytest.raises(WeatherError, match="kept apart"):
        store.add(BENCH, days([1.0], [2.0], "forecast"), FILE, fetched_at=NOON)


def test_every_value_knows_its_origin_and_the_line_to_show(store):
    store.add(BENCH, days([1.0, 2.0], [9.0, 9.0]), SERVICE, fetched_at=NOON)
    local = datetime(2026, 3, 21, 9, tzinfo=timezone(timedelta(hours=9)))
    pot = Origin("file", "pot.csv", measures="pot surface")
    store.add(BENCH, days([1.5], [12.0], "bench"), pot, fetched_at=local)
    forecast(store, date(2026, 3, 3), [2.0])
    uses = {use.source: use for use in store.origin_uses(BENCH)}
    assert (uses["station"].days, uses["station"].last_day) == (2, date(2026, 3, 2))
    assert uses["bench"].origin == pot
    assert uses["bench"].fetched_at == datetime(2026, 3, 21, 0, tzinfo=UTC)
    assert uses["forecast"].first_day == date(2026, 3, 3)
    assert store.attribution_lines(BENCH) == ["Source: a service", "Forecast: a service"]


def test_a_time_without_zone_is_a_mistake_and_changes_nothing(store):
    with pytest.raises(ValueError, match="time zone"):
        store.add(BENCH, days([1.0], [2.0]), FILE, fetched_at=datetime(2026, 3, 1))
    assert not store.has(BENCH)


def test_a_write_cut_short_leaves_nothing_behind(store):
    store.add(BENCH, days([1.0], [9.0]), SERVICE, fetched_at=NOON)

    def broken_members():
        yield days([1.0], [2.0], "forecast")
        raise OSError(28, "No space left on device")

    with pytest.raises(
        StoreError, match=r"saving to .* failed: no space left on device. Nothing was changed"
    ):
        forecast(store, date(2026, 3, 2), [2.0], members=broken_members())
    assert len(store.read(BENCH)) == 1
    assert len(store.past_forecasts(BENCH).day) == 0


def test_a_missing_store_is_no_weather_and_is_not_made(tmp_path):
    with pytest.raises(WeatherError, match="flushcast weather add FILE"):
        WeatherStore.open(tmp_path)
    assert not (tmp_path / FILE_NAME).exists()


def test_a_missing_folder_says_to_init(tmp_path):
    with pytest.raises(StoreError, match="run `flushcast init` first"):
        WeatherStore.open(tmp_path / "nowhere", create=True)


@pytest.mark.parametrize("rubbish", [b"not a database, just some text" * 50, b"\0" * 4096])
def test_a_damaged_file_is_said_and_left(tmp_path, rubbish):
    path = tmp_path / FILE_NAME
    path.write_bytes(rubbish)
    with pytest.raises((StoreCorruptError, StoreError), match=r"kept as it is|not a flushcast weather store"):
        WeatherStore.open(tmp_path)
    assert path.read_bytes() == rubbish


def test_a_page_overwritten_in_the_middle_is_damage(tmp_path):
    with WeatherStore.open(tmp_path, create=True) as opened:
        opened.add(BENCH, days(np.zeros(5000), np.ones(5000)), FILE, fetched_at=NOON)
    path = tmp_path / FILE_NAME
    content = bytearray(path.read_bytes())
    for page in range(2, len(content) // 4096 - 1):
        content[page * 4096 : page * 4096 + 200] = b"\xff" * 200
    path.write_bytes(content)
    with (
        pytest.raises(StoreCorruptError, match=r"is damaged .*; it is kept as it is\. Put back a copy"),
        WeatherStore.open(tmp_path) as opened,
    ):
        opened.read(BENCH)


def test_another_writer_is_said_and_nothing_changes(tmp_path, monkeypatch):
    monkeypatch.setattr("data_sources.sqlite.connection.PATIENCE", 0)
    with WeatherStore.open(tmp_path, create=True) as opened:
        opened.add(BENCH, days([1.0], [9.0]), FILE, fetched_at=NOON)
        other = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(StoreLockedError, match=r"in use: .* Nothing was saved. Try again"):
            opened.add(BENCH, days([5.0], [9.0]), FILE, fetched_at=NOON)
        other.execute("ROLLBACK")
        other.close()
        assert opened.read(BENCH).tmin[0] == 1.0


def test_a_newer_store_is_left_untouched(tmp_path):
    WeatherStore.open(tmp_path, create=True).close()
    with closing(sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)) as connection:
        connection.execute("INSERT INTO migration VALUES (99, '2040-01-01T00:00:00+00:00')")
        connection.execute("PRAGMA user_version = 99")
    with pytest.raises(StoreTooNewError, match="newer flushcast"):
        WeatherStore.open(tmp_path)


def test_some_other_database_is_not_taken_over(tmp_path):
    connection = sqlite3.connect(tmp_path / FILE_NAME)
    connection.execute("CREATE TABLE bread (loaf TEXT)")
    connection.close()
    with pytest.raises(StoreError, match="is not a flushcast weather store; it was left untouched"):
        WeatherStore.open(tmp_path, create=True)


def test_two_writers_take_turns(tmp_path):
    WeatherStore.open(tmp_path, create=True).close()
    failures = []

    def write(source):
        try:
            for n in range(10):
                with WeatherStore.open(tmp_path, create=True) as mine:
                    day = MARCH + timedelta(days=n)
                    mine.add(BENCH, days([1.0], [2.0], source, first=day), Origin(source), fetched_at=NOON)
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=write, args=(s,)) for s in ("bench", "station", "model")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    with WeatherStore.open(tmp_path) as opened:
        for source in ("bench", "station", "model"):
            part = opened.read_source(BENCH, source)
            assert part is not None and len(part) == 10


def test_reading_35_years_loads_no_pandas(tmp_path):
    n = 12_784
    with WeatherStore.open(tmp_path, create=True) as opened:
        opened.add(BENCH, days(np.zeros(n), np.ones(n), first=date(1991, 1, 1)), SERVICE, fetched_at=NOON)
        forecast(opened, date(2025, 12, 31), [1.0] * 16)
        assert len(opened.read(BENCH)) == n + 15
    code = (
        "import sys; from pathlib import Path; from data_sources.weather.store import weather_store\n"
        f"store = weather_store.WeatherStore.open(Path({str(tmp_path)!r}))\n"
        f"print(len(store.read({BENCH!r})), 'pandas' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == [str(n + 15), "False"]
