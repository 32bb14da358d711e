"""Wrong days do not replace good ones: offers are judged beside the store, and corrections wait."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from data_sources.demo.climate import synthetic_weather
from data_sources.weather.services.protocol.service import Spot
from data_sources.weather.store.steps import WEATHER_SCHEMA
from data_sources.weather.store.weather_store import FILE_NAME, Origin, WeatherStore
from phenology.weather.revisions import MANY, unlikely_days, waiting_corrections
from phenology.weather.series import DailyWeather
from tests.data_sources.stand_in import StandIn
from tests.data_sources.test_weather_forecasts import TODAY
from tests.data_sources.test_weather_update import Garden

MARCH = date(2026, 3, 1)
NOON = datetime(2026, 3, 20, 12, tzinfo=UTC)
SERVICE = Origin("service", "a, b, c")
PAST = synthetic_weather(date(2021, 1, 1), date(2026, 3, 15), 50.1, seed=3)


def changed(weather: DailyWeather, by: float, times: float = 1.0, source: str = "station") -> DailyWeather:
    return DailyWeather(weather.first_day, weather.tmin * times + by, weather.tmax * times + by, source)


def known(source: str = "station") -> DailyWeather:
    return DailyWeather(PAST.first_day, PAST.tmin, PAST.tmax, source)


# --- what is unlikely --------------------------------------------------------------------------------------


def test_a_fortnight_in_fahrenheit_is_unlikely_beside_what_was_known():
    last = PAST.between(date(2026, 3, 2), date(2026, 3, 15))
    wrong = changed(last, 32, 1.8)
    before = known().between(PAST.first_day, date(2026, 3, 1))
    assert len(unlikely_days(wrong, before, None)) >= 10
    model = known("model")
    assert len(unlikely_days(wrong, before, model)) == 14
    assert "where the other sources lead to expect" in " ".join(unlikely_days(wrong, before, model).values())


@pytest.mark.parametrize("by", [-6.0, 0.0, 6.0])
def test_a_neighbour_that_always_differs_is_no_fault(by: float):
    last = known().between(date(2026, 3, 2), date(2026, 3, 15))
    assert unlikely_days(last, known().between(PAST.first_day, date(2026, 3, 1)), changed(PAST, by)) == {}


def test_three_days_of_35_degrees_in_march_are_unlikely_and_a_warm_week_is_not():
    before = known().between(PAST.first_day, date(2026, 3, 9))
    hot = DailyWeather(date(2026, 3, 10), [14.0, 15.0, 14.0], [35.0, 35.5, 35.0], "station")
    assert len(unlikely_days(hot, before, None)) == 3
    mean = float(np.mean(known().between(date(2026, 3, 1), date(2026, 3, 31)).tmax))
    warm = DailyWeather(date(2026, 3, 10), np.linspace(3, 5, 7), mean + np.linspace(8, 10, 7), "station")
    assert unlikely_days(warm, before, None) == {}


def test_years_of_a_real_climate_pass():
    """No day of any of five years is unlikely beside the four others' and the days before it."""
    found = 0
    for first in range(PAST.first_day.toordinal() + 4 * 365, PAST.last_day.toordinal() - 30, 30):
        day = date.fromordinal(first)
        before = known().between(PAST.first_day, day - timedelta(days=1))
        found += len(unlikely_days(known().between(day, day + timedelta(days=29)), before, None))
    assert found == 0


def test_what_is_known_just_so_is_not_judged_again():
    day = known().between(date(2026, 3, 2), date(2026, 3, 4))
    wild = changed(day, 60)
    assert unlikely_days(wild, wild, None, {wild.first_day: "far from the other stations"}) == {}
    assert wild.first_day in unlikely_days(day, wild, None, {wild.first_day: "far from the other stations"})


# --- what waits --------------------------------------------------------------------------------------------


def counts(n: int, each: int = 3) -> np.ndarray:
    return np.full(n, each)


def test_a_few_small_corrections_are_taken_and_a_large_one_waits():
    old = known().between(date(2026, 1, 1), date(2026, 2, 28))
    low, high = old.tmin.copy(), old.tmax.copy()
    low[:5] -= 0.3
    high[10] += 7
    new = DailyWeather(old.first_day, low, high, "station")
    waiting = waiting_corrections(new, counts(59), old, counts(59))
    assert waiting == {date(2026, 1, 11): "corrected by 7 °C at once"}
    # More stations may well move a day by so much.
    assert waiting_corrections(new, counts(59, 4), old, counts(59)) == {}


def test_many_corrections_wait_all_of_them_and_new_days_with_them():
    old = known().between(date(2025, 1, 1), date(2026, 3, 10)).spanning(date(2025, 1, 1), date(2026, 3, 12))
    new = changed(known().between(date(2025, 1, 1), date(2026, 3, 12)), 1.7)
    waiting = waiting_corrections(new, counts(len(new)), old, counts(len(new)))
    assert len(waiting) == len(new) > MANY
    assert waiting[date(2026, 3, 12)].startswith("one of 434 days that were corrected at once")


# --- the store ---------------------------------------------------------------------------------------------


@pytest.fixture
def store(tmp_path: Path):
    with WeatherStore.open(tmp_path, create=True) as opened:
        yield opened


def offer(
    store: WeatherStore, high: float, day: int = 0, suspect: str = "", wait: str = "", stations: int = 3
):
    weather = DailyWeather(MARCH, [1.0], [high], "station")
    return store.add(
        "bench",
        weather,
        SERVICE,
        fetched_at=NOON + timedelta(days=day),
        suspect={MARCH: suspect} if suspect else {},
        wait={MARCH: wait} if wait else {},
        stations=np.array([stations]),
    )


def used(store: WeatherStore) -> float:
    return float(store.read("bench").tmax[0])


def test_a_correction_that_waits_is_taken_when_it_was_confirmed_twice(store: WeatherStore):
    offer(store, 9.0)
    for day in (1, 1, 2):  # the same day twice confirms nothing
        assert offer(store, 16.0, day, wait="by 7 °C").held == 1
        assert used(store) == 9.0
    (shown,) = store.suspicious_days("bench")
    assert (shown.held, shown.tmax, shown.reason) == (True, 16.0, "by 7 °C")
    assert offer(store, 16.0, 3, wait="by 7 °C").replaced == 1
    assert used(store) == 16.0 and store.suspicious_days("bench") == []
    assert store.replaced_count("bench") == 1


def test_another_value_begins_to_wait_anew_and_the_old_one_ends_it(store: WeatherStore):
    offer(store, 9.0)
    for day, high in enumerate((16.0, 16.0, 17.0), 1):
        offer(store, high, day, wait="far")
    assert used(store) == 9.0
    offer(store, 9.0, 5)
    assert store.suspicious_days("bench") == []


def test_a_doubtful_value_is_never_taken_by_repeating_it(store: WeatherStore):
    offer(store, 9.0)
    for day in range(1, 9):
        offer(store, 48.0, day, suspect="48 °C in March")
    assert used(store) == 9.0
    assert store.accept("bench", [MARCH]) == 1
    assert used(store) == 48.0 and store.replaced_count("bench") == 1
    assert [d.accepted for d in store.suspicious_days("bench")] == [True]
    store.take_back("bench")
    assert used(store) == 9.0


def test_a_new_day_that_waits_is_not_used_and_is_taken_once_it_is_not_doubted(store: WeatherStore):
    offer(store, 20.0, wait="beside 300 others")
    assert store.find("bench") is None
    assert offer(store, 20.0, 1).added == 1
    assert used(store) == 20.0 and store.suspicious_days("bench") == []


def test_a_blend_of_fewer_stations_replaces_nothing_and_one_of_more_does(store: WeatherStore):
    offer(store, 9.0, stations=3)
    assert offer(store, 9.5, 1, stations=1).kept == 1
    assert offer(store, 9.2, 2, stations=4).replaced == 1
    assert used(store) == 9.2


def test_an_older_store_learns_how_many_stations_its_days_are_from(tmp_path: Path):
    with closing(sqlite3.connect(tmp_path / FILE_NAME)) as made:
        for statement in WEATHER_SCHEMA.steps[0].statements:
            made.execute(statement)
        made.execute("INSERT INTO migration VALUES (1, '2026-01-01T00:00:00+00:00')")
        made.execute("INSERT INTO place VALUES (1, 'bench')")
        for key, provider, detail in ((1, "Meteostat", "10001, 10002, 10003"), (2, "file", "a, b.csv")):
            made.execute("INSERT INTO origin VALUES (?, ?, ?, '', '')", (key, provider, detail))
            made.execute("INSERT INTO batch VALUES (?, 1, ?, '2026-03-20T12:00:00+00:00', NULL)", (key, key))
            day = MARCH.toordinal() + key
            made.execute("INSERT INTO day VALUES (1, 1, ?, 1.0, 9.0, ?, NULL, 0)", (day, key))
        made.execute(f"PRAGMA application_id = {WEATHER_SCHEMA.application_id}")
        made.execute("PRAGMA user_version = 1")
        made.commit()
    with WeatherStore.open(tmp_path) as opened:
        assert opened.query("SELECT stations FROM day ORDER BY day") == [(3,), (1,)]
        assert len(opened.read("bench")) == 2


# --- from a service to the store ---------------------------------------------------------------------------


@pytest.fixture
def garden(stand_in: StandIn, tmp_path: Path) -> Garden:
    settings = stand_in.settings(
        cache_folder=tmp_path / "cache", years=2, stations=3, sources=("meteostat", "open-meteo-forecast")
    )
    made = Garden(tmp_path, stand_in, settings)
    made.update()
    return made


def next_day(garden: Garden, day: int) -> list[str]:
    """What is said when all files, also of years gone by, are fetched anew a day later."""
    (garden.folder / "cache" / "http.sqlite").unlink(missing_ok=True)
    (garden.folder / "weather_asked.json").unlink(missing_ok=True)
    garden.stand_in.today = TODAY + timedelta(days=day)
    return garden.update(days_later=day).lines


def no_wrong_day(garden: Garden, before: DailyWeather) -> None:
    now = garden.weather().spanning(before.first_day, before.last_day)
    measured = before.source == "station"
    np.testing.assert_array_equal(now.tmax[measured], before.tmax[measured])


@pytest.mark.parametrize("kind", ["fahrenheit_lately", "fifteen_warmer_lately", "unstated_fahrenheit"])
def test_a_wrong_unit_and_wrong_heat_are_held_and_never_used(garden: Garden, kind: str):
    before = garden.weather()
    garden.stand_in.fault("/daily/2026", kind)
    for day in (1, 2, 3, 4):
        next_day(garden, day)
        no_wrong_day(garden, before)
        assert np.nanmax(np.abs(np.diff(garden.weather().tmax))) < 20
    garden.stand_in.mend()
    next_day(garden, 5)
    no_wrong_day(garden, before)
    assert garden.weather().source[garden.weather().index(TODAY - timedelta(days=1))] == "station"


def test_one_of_three_stations_five_degrees_off_corrects_nothing_at_once(garden: Garden):
    before = garden.weather()
    garden.stand_in.fault("/10001.csv.gz", "five_warmer")
    lines = next_day(garden, 1)
    no_wrong_day(garden, before)
    (line,) = (line for line in lines if "wait" in line)
    assert line.startswith("Meteostat: 893 corrections wait (flushcast weather status)")  # two years of days
    next_day(garden, 2)
    no_wrong_day(garden, before)
    garden.stand_in.mend()
    assert not any("wait" in line for line in next_day(garden, 3))
    with WeatherStore.open(garden.folder) as store:
        assert not any(day.held for day in store.suspicious_days("bench"))


def test_the_grower_may_take_what_waits(garden: Garden):
    before = garden.weather()
    garden.stand_in.fault("/10001.csv.gz", "five_warmer")
    next_day(garden, 1)
    with WeatherStore.open(garden.folder) as store:
        assert store.accept("bench") == 892
    now = garden.weather().spanning(before.first_day, before.last_day)
    measured = before.source == "station"
    assert np.median((now.tmax - before.tmax)[measured]) > 1


def test_a_place_that_moved_takes_the_weather_of_its_new_stations_at_once(garden: Garden):
    """Only one station is near there, and high: neither that nor mass corrections hold it back."""
    garden.spot = Spot(50.6, 8.3, 480.0, "Europe/Berlin")
    for day in (0, 1):
        garden.stand_in.today = TODAY + timedelta(days=day)
        garden.update(days_later=day)
    with WeatherStore.open(garden.folder) as store:
        used = {use.origin.detail for use in store.origin_uses("bench") if use.source == "station"}
        assert not any(day.held for day in store.suspicious_days("bench"))
    assert used == {"10003"}


def test_stations_that_fail_do_not_leave_a_blend_of_one(garden: Garden):
    before = garden.weather()
    for name in ("10001", "10003"):
        garden.stand_in.fault(f"/{name}.csv.gz", "500")
    next_day(garden, 1)
    no_wrong_day(garden, before)
