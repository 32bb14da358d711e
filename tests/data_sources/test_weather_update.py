"""Updating a place's weather: what a grower reads when services fail; the store is as good as before."""

from __future__ import annotations

import re
import sqlite3
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from data_sources.weather.request_log import FILE_NAME, RequestLog
from data_sources.weather.services.protocol.service import FetchSpan, Spot
from data_sources.weather.services.registry import make_services
from data_sources.weather.services.transport.settings import WeatherSettings
from data_sources.weather.store.weather_store import WeatherStore
from data_sources.weather.update import UpdateReport, update_weather
from phenology.model.errors import StoreLockedError, UnknownNameError
from phenology.weather.series import DailyWeather, source_rank
from tests.data_sources.series import fingerprint
from tests.data_sources.stand_in import StandIn
from tests.data_sources.test_weather_forecasts import HERE, TODAY
from tests.data_sources.test_weather_stations import VARIED, a_day_passes

NOON = datetime(2026, 6, 14, 10, tzinfo=UTC)
TRIED = ("meteostat", "open-meteo-forecast", "open-meteo-archive", "met-norway")


@dataclass
class Garden:
    """A garden's weather, and a way to bring it up to date."""

    folder: Path
    stand_in: StandIn
    settings: WeatherSettings
    spot: Spot = HERE

    def update(self, days_later: int = 0, **more: Any) -> UpdateReport:
        now = datetime.now(UTC) if days_later < 0 else NOON + timedelta(days=days_later)
        with (
            self.stand_in.http(self.settings, now=lambda: now) as http,
            WeatherStore.open(self.folder, create=True) as store,
        ):
            services = make_services(self.settings, http)
            log = RequestLog(self.folder, "bench", self.spot)
            years = self.settings.years
            return update_weather(store, "bench", self.spot, services, now=now, years=years, log=log, **more)

    def weather(self) -> DailyWeather:
        with WeatherStore.open(self.folder) as store:
            return store.read("bench")

    def use(self, *sources: str, **more: Any) -> Garden:
        return replace(self, settings=replace(self.settings, sources=sources or TRIED, **more))

    def forget(self, *names: str) -> None:
        """Without its kept answers, and these files of its own."""
        (self.folder / "cache" / "http.sqlite").unlink()
        for name in names:
            (self.folder / name).unlink()


@pytest.fixture
def garden(stand_in: StandIn, tmp_path: Path) -> Garden:
    """One year and a half of history from two stations."""
    made = stand_in.settings(cache_folder=tmp_path / "cache", years=1, stations=2, sources=TRIED)
    return Garden(tmp_path, stand_in, made)


@pytest.fixture
def kept(garden: Garden) -> Garden:
    """A garden a day after one good update; of the answers only the stations' are still here."""
    garden.update()
    with garden.stand_in.http(garden.settings) as http:
        responses = http.session.cache.responses
        for key in [key for key, response in responses.items() if "/v1/" in response.url]:
            del responses[key]
        a_day_passes(http)
    garden.stand_in.asked.clear()
    return garden


def as_good(before: DailyWeather, after: DailyWeather) -> None:
    """Every day that was known is known, from a source as good; what was measured is unchanged."""
    now = after.spanning(before.first_day, before.last_day)
    assert (now.known | ~before.known).all()
    for old, new in zip(before.source[before.known], now.source[before.known], strict=True):
        assert source_rank(str(new)) <= source_rank(str(old))
    measured = before.source == "station"
    np.testing.assert_array_equal(now.tmin[measured], before.tmin[measured])
    np.testing.assert_array_equal(now.tmax[measured], before.tmax[measured])


# --- when all is well --------------------------------------------------------------------------------------


def test_a_first_update_brings_history_and_a_forecast(garden: Garden):
    told: list[str] = []
    report = garden.update(announce=told.append)
    weather = garden.weather()
    assert (weather.first_day, weather.last_day) == (date(2025, 1, 1), date(2026, 6, 29))
    assert weather.known.all() and not report.failed
    assert weather.coverage().by_source == {"station": 525, "model": 4, "forecast": 16}
    assert report.lines == [
        "Open-Meteo forecast: forecast to 2026-06-29, 10 days new",
        "Meteostat: 525 days new (10001, 10002)",
    ]
    assert told == []  # there is no old history to load
    low, high = garden.stand_in.world.days(date(2025, 1, 1), date(2026, 6, 9), HERE.elevation)
    station = weather.between(date(2025, 1, 1), date(2026, 6, 9))
    np.testing.assert_allclose(station.tmax, high, atol=0.15)
    np.testing.assert_allclose(station.tmin, low, atol=0.15)


def test_the_nearest_station_s_recent_years_come_first_and_the_rest_is_announced(garden: Garden):
    told: list[str] = []
    longer = garden.use(*TRIED, years=6, stations=2)
    longer.update(announce=told.append)
    files = garden.stand_in.paths("/daily/")
    assert files[:3] == [f"/daily/{y}/10001.csv.gz" for y in (2026, 2025, 2024)]
    assert told == ["there is enough for a first forecast; 7 years of Meteostat follow"]
    assert garden.stand_in.paths()[0] == "/v1/forecast"  # before any history
    assert longer.weather().first_day == date(2020, 1, 1)


def test_enough_for_a_first_forecast_and_no_more(garden: Garden):
    garden.use(*TRIED, years=6).update(first_only=True)
    assert garden.weather().first_day == date(2024, 1, 1)
    assert len(garden.stand_in.asked) == 5  # list of stations, three files, forecast


def test_an_update_can_be_stopped_at_any_moment_and_goes_on_from_there(garden: Garden):
    longer = garden.use("meteostat", years=12)

    class Stopped(KeyboardInterrupt):
        pass

    def stop_in_2018(what: str, done: int, total: int) -> None:
        if any("/2018/" in path for path in garden.stand_in.paths("/daily/")):
            raise Stopped

    with pytest.raises(Stopped):
        longer.update(progress=stop_in_2018)
    assert longer.weather().first_day == date(2020, 1, 1)  # the rounds before are safe
    before = len(garden.stand_in.paths("/daily/"))
    longer.update()
    assert longer.weather().first_day == date(2014, 1, 1)
    files = garden.stand_in.paths("/daily/")
    assert len(files) == len(set(files)) > before  # no file was asked for twice


def test_the_next_day_only_what_may_have_changed_is_asked(kept: Garden):
    kept.stand_in.today = TODAY + timedelta(days=1)
    before = kept.weather()
    report = kept.update(days_later=1)
    assert kept.stand_in.paths() == ["/v1/forecast", "/daily/2026/10001.csv.gz", "/daily/2026/10002.csv.gz"]
    as_good(before, kept.weather())
    assert kept.weather().last_day == before.last_day + timedelta(days=1)
    assert report.brought["open-meteo-forecast"].new and not report.failed


def test_an_archive_fills_what_stations_do_not_have(kept: Garden):
    """No file of any station: the archive is asked, and gives way once the stations have them after all."""
    kept.stand_in.fault("/daily/", "404")
    kept.forget("weather.sqlite", FILE_NAME)
    report = kept.update()
    assert "no day of that time" in report.lines[0]
    weather = kept.weather()
    assert set(weather.source) == {"model", "forecast"} and weather.known.all()
    assert any(line.startswith("Open-Meteo archive: ") for line in report.lines)
    kept.stand_in.mend()
    kept.forget()
    kept.update()
    as_good(weather, kept.weather())
    assert kept.weather().coverage().by_source["station"] == 525


def test_the_second_forecast_is_asked_when_the_first_fails(kept: Garden):
    kept.stand_in.today = TODAY + timedelta(days=1)
    kept.stand_in.fault("/v1/forecast", "503")
    report = kept.update(days_later=1)
    assert (
        "Open-Meteo forecast has trouble of its own (503); the forecast fetched 24 hours ago stays"
        in report.lines
    )
    assert any(line.startswith("MET Norway: forecast to 2026-06-2") for line in report.lines)
    # Its own first day is tomorrow: today comes from the forecast before.
    assert kept.weather().known.all()


def test_an_ensemble_s_members_are_kept_and_the_forecast_proper_is_read(garden: Garden):
    garden.use("open-meteo-forecast", "open-meteo-ensemble").update()
    with WeatherStore.open(garden.folder) as store:
        assert len(store.members("bench")) == 3
        providers = {u.origin.provider for u in store.origin_uses("bench") if u.source == "forecast"}
        past = store.past_forecasts("bench")
    assert providers == {"Open-Meteo", "Open-Meteo ensemble"}
    assert set((past.day - past.issued)[past.provider == "Open-Meteo"]) == set(range(16))
    assert garden.weather().last_day == date(2026, 6, 29)


def test_a_place_at_the_date_line_above_the_polar_circle_and_on_a_mountain(garden: Garden):
    for spot in (
        Spot(-16.8, 179.9, 10.0, "Pacific/Fiji"),
        Spot(78.22, 15.65, 20.0, "Arctic/Longyearbyen"),
        Spot(46.5, 9.8, 3000.0, "Europe/Zurich"),
    ):
        (garden.folder / "weather.sqlite").unlink(missing_ok=True)
        garden.stand_in.world.latitude = spot.latitude
        garden.spot = spot
        report = garden.update()
        assert report.lines[0] == "Meteostat has no station within 50 km"
        weather = garden.weather()
        assert weather.known.all() and weather.first_day == date(2025, 1, 1)
        assert set(weather.source) == {"model", "forecast"}


# --- when nothing is well ----------------------------------------------------------------------------------

TOTAL: list[tuple[str, dict, str]] = [
    ("404", {}, r"Open-Meteo forecast has nothing there \(404\); the forecast fetched 24 hours ago stays"),
    ("403", {}, r"Meteostat refused the request \(403\); not received|Meteostat refused"),
    ("429", {}, r"Open-Meteo forecast has had enough requests for now \(429\)"),
    ("429", {"headers": {"Retry-After": "3600"}}, r"MET Norway asks to wait 1 h \(429\)"),
    ("429", {"headers": {"Retry-After": "10"}}, r"Open-Meteo forecast asks to wait 10 s \(429\)"),
    ("500", {}, r"MET Norway has trouble of its own \(500\); the forecast fetched 24 hours ago stays"),
    ("html", {}, "Open-Meteo forecast sent a web page instead of data .*login page"),
    ("empty", {}, "Open-Meteo forecast sent an empty answer"),
    ("cut_gzip", {}, "Open-Meteo forecast sent an? (damaged )?answer"),
    ("cut", {}, "Open-Meteo forecast broke off in the middle of its answer"),
    ("drip", {}, r"Open-Meteo forecast was still sending after 90 s"),
    ("loop", {}, "Open-Meteo forecast sends the request round in circles"),
    ("broken", {}, r"Open-Meteo forecast sent an answer that cannot be read \(its JSON breaks off\)"),
    ("tenfold", {}, "Open-Meteo forecast sent temperatures that are no air"),
    ("doubled", {}, "Open-Meteo forecast sent hours twice or out of order"),
]


@pytest.mark.parametrize(
    ("kind", "more", "words"),
    [pytest.param(*one, marks=[pytest.mark.slow] * (one[0] in VARIED), id=f"{one[0]}{n}")
     for n, one in enumerate(TOTAL)],
)  # fmt: skip
def test_when_every_service_fails_the_weather_stays_and_the_reason_is_read(
    kept: Garden, kind: str, more: dict, words: str
):
    before = kept.weather()
    kept.stand_in.today = TODAY + timedelta(days=1)
    kept.stand_in.fault("", kind, **more)
    report = kept.update(days_later=1)
    assert any(re.search(words, line) for line in report.lines), report.lines
    assert fingerprint(kept.weather()) == fingerprint(before)
    assert "met-norway" in report.failed or kind in ("404", "drip")
    assert not report.fresh
    kept.stand_in.mend()
    kept.update(days_later=1)
    as_good(before, kept.weather())
    assert kept.weather().last_day == before.last_day + timedelta(days=1)


@pytest.mark.parametrize("kind", ["nulls_end", "nulls_inside", "hot"])
def test_holes_and_wild_values_do_not_reach_what_is_good(kept: Garden, kind: str):
    before = kept.weather()
    kept.stand_in.today = TODAY + timedelta(days=1)
    kept.stand_in.fault("", kind)
    kept.update(days_later=1)
    after = kept.weather()
    past = before.between(before.first_day, TODAY - timedelta(days=1))
    as_good(past, after)
    assert np.nanmax(after.tmax) < 50


def test_no_network_is_one_line(kept: Garden):
    before = kept.weather()
    kept.stand_in.stop()
    report = kept.update(days_later=2)
    assert report.offline
    assert report.lines == [
        "no network: the weather stays as it is (up to 2026-06-13, forecast fetched 2 days ago)"
    ]
    assert fingerprint(kept.weather()) == fingerprint(before)


def test_no_network_and_no_weather(garden: Garden):
    garden.stand_in.stop()
    assert garden.update().lines == [
        "no network, and no weather yet: add a file with `flushcast weather add FILE`"
    ]


def test_a_week_of_downtime(kept: Garden):
    start = kept.weather()
    kept.stand_in.fault("", "503")
    for day in range(1, 8):
        kept.stand_in.today = TODAY + timedelta(days=day)
        report = kept.update(days_later=day)
        ago = "24 hours ago" if day == 1 else f"{day} days ago"
        assert any(f"the forecast fetched {ago} stays" in line for line in report.lines)
        assert fingerprint(kept.weather()) == fingerprint(start)
    kept.stand_in.mend()
    report = kept.update(days_later=7)
    weather = kept.weather()
    as_good(start, weather)
    assert weather.known.all() and weather.last_day == start.last_day + timedelta(days=7)
    assert not report.failed


def test_a_broken_list_of_stations_leaves_the_rest_working(garden: Garden):
    garden.stand_in.fault("stations.db", "broken")
    report = garden.update()
    assert "Meteostat sent a broken list of stations" in report.lines
    assert garden.weather().known.all()  # the archive and the forecast stood in
    assert set(garden.weather().source) == {"model", "forecast"}


def test_a_station_that_fails_today_does_not_spoil_the_blend_of_yesterday(kept: Garden):
    before = kept.weather()
    kept.forget(FILE_NAME)
    kept.stand_in.fault("/10001.csv.gz", "500")  # the nearest; the other alone is worse
    report = kept.update()
    assert any("not received: 10001: 2025-2026" in line for line in report.lines)
    assert fingerprint(kept.weather()) == fingerprint(before)


def test_a_service_without_what_it_needs_is_passed_over(garden: Garden):
    garden = garden.use("met-norway", "open-meteo-forecast", contact="")
    report = garden.update()
    assert "MET Norway needs a contact: set `contact` in garden.toml" in report.lines[0]
    assert list(report.brought) == ["open-meteo-forecast"]


def test_a_locked_store_is_an_error_that_says_so(kept: Garden, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("data_sources.sqlite.connection.PATIENCE", 0)
    other = sqlite3.connect(kept.folder / "weather.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    with (
        WeatherStore.open(kept.folder) as store,
        kept.stand_in.http(kept.settings) as http,
        pytest.raises(StoreLockedError, match="is in use"),
    ):
        services = make_services(kept.settings, http, ["open-meteo-forecast"])
        update_weather(store, "bench", HERE, services, now=NOON, years=1)
    other.close()


def test_an_unknown_service_is_named_with_its_neighbours(garden: Garden):
    with (
        garden.stand_in.http(garden.settings) as http,
        pytest.raises(UnknownNameError, match="weather service called 'metoestat'"),
    ):
        make_services(garden.settings, http, ["metoestat"])


def test_a_place_that_moved_is_asked_for_anew(tmp_path: Path):
    part = FetchSpan(date(2020, 1, 1), date(2024, 12, 31))
    RequestLog(tmp_path, "bench", HERE).note("meteostat", part, TODAY, 1800)
    assert RequestLog(tmp_path, "bench", HERE).settled("meteostat", part, TODAY, 1800)
    assert not RequestLog(tmp_path, "bench", HERE).settled(
        "meteostat", part, TODAY, 1799
    )  # the store lost days
    moved = Spot(48.1, 11.6, 520, "Europe/Berlin")
    assert not RequestLog(tmp_path, "bench", moved).settled("meteostat", part, TODAY, 1800)
    (tmp_path / FILE_NAME).write_text("{broken")
    assert not RequestLog(tmp_path, "bench", HERE).settled("meteostat", part, TODAY, 1800)


# --- forecasts and days gone by ----------------------------------------------------------------------------


def test_days_that_pass_without_measurement_are_no_model_days(garden: Garden):
    """Six days without a good answer: what was forecast stays a forecast of its issue, with all its leads."""
    garden = garden.use("open-meteo-forecast")
    garden.update()
    with garden.stand_in.http(garden.settings) as http:
        a_day_passes(http)
    garden.stand_in.fault("", "503")
    for day in range(1, 7):
        garden.stand_in.today = TODAY + timedelta(days=day)
        assert not garden.update(days_later=day).fresh
    with WeatherStore.open(garden.folder) as store:
        model, past = store.read_source("bench", "model"), store.past_forecasts("bench")
    assert model is not None and model.last_day == TODAY - timedelta(days=1)
    assert (past.day - past.issued).tolist() == list(range(16))
    assert set(garden.weather().between(TODAY, TODAY + timedelta(days=5)).source) == {"forecast"}


def test_a_service_that_stands_still_gives_no_weather(garden: Garden):
    """It answers, with the forecast of six days ago: its days gone by were never analysed."""
    garden = garden.use("open-meteo-forecast", "met-norway")
    garden.update()
    garden.stand_in.today = TODAY + timedelta(days=6)
    garden.stand_in.fault("", "old")
    report = garden.update(days_later=6)
    assert report.lines[0].startswith("Open-Meteo forecast sent a forecast of 2026-06-14 (is the computer")
    assert not report.fresh and garden.weather().last_day == date(2026, 6, 29)


def test_a_copy_from_before_midnight_knows_yesterday_as_a_forecast(garden: Garden):
    garden = garden.use("open-meteo-forecast")
    garden.update()
    with garden.stand_in.http(garden.settings) as http:
        responses = http.session.cache.responses
        for key, response in list(responses.items()):
            response.created_at = NOON
            responses[key] = response
    assert garden.update(days_later=1).lines == ["Open-Meteo forecast: forecast to 2026-06-29"]
    assert len(garden.stand_in.asked) == 1
    with WeatherStore.open(garden.folder) as store:
        model, past = store.read_source("bench", "model"), store.past_forecasts("bench")
    assert model is not None and model.last_day == TODAY - timedelta(days=1)
    assert (past.day - past.issued)[past.issued == TODAY.toordinal()].tolist() == list(range(16))


def test_every_forecast_failing_the_next_is_asked_and_the_store_is_left_alone(kept: Garden):
    before = kept.weather()
    kept.stand_in.today = TODAY + timedelta(days=1)
    for path in ("/v1/forecast", "/daily/"):
        kept.stand_in.fault(path, "503")
    report = kept.update(days_later=1)
    assert [p for p in kept.stand_in.paths() if "weatherapi" in p] and report.fresh
    assert [p for p in kept.stand_in.paths() if "archive" in p]
    as_good(before.between(before.first_day, TODAY - timedelta(days=1)), kept.weather())


# --- addresses, ids and time -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "key", ["../../../../EVIL", "10001/../x", "%2e%2e", "10001?x=1", "", "1000", "A" * 40]
)
@pytest.mark.parametrize("service", ["meteostat", "ghcn-daily", "ncei-daily"])
def test_an_id_that_is_none_never_becomes_part_of_an_address(garden: Garden, key: str, service: str):
    garden = garden.use(service, station_ids=(key,))
    (line,) = [line for line in garden.update().lines if "knows no station" in line]
    assert "its ids are like" in line
    assert garden.stand_in.paths() == []


def test_an_address_that_was_wrong_and_is_corrected_is_asked_anew(garden: Garden):
    wrong = {
        **garden.settings.addresses,
        "open-meteo-archive": f"{garden.stand_in.base}/elsewhere/v1/archive",
    }
    first = garden.use("open-meteo-archive", years=6, addresses=wrong)
    first.update()
    garden.stand_in.asked.clear()
    garden.use("open-meteo-archive", years=6).update()
    assert len(garden.stand_in.paths("/v1/archive")) == 2 and not garden.stand_in.paths("elsewhere")


def test_everything_dripping_an_update_ends_within_its_time_and_says_so(garden: Garden):
    garden.stand_in.fault("", "drip")
    report = garden.update()
    assert not report.fresh
    assert report.lines[-1].startswith("the time of an update is over; the next goes on with ")
    assert garden.stand_in.clock.seconds <= 1000 * len(garden.stand_in.asked)
    assert len(garden.stand_in.asked) == 1


def test_the_first_usable_forecast_is_in_the_store_before_anything_else_is_waited_for(garden: Garden):
    garden.stand_in.fault("stations.db", "drip")
    garden.stand_in.fault("/daily/", "drip")
    report = garden.update()
    assert garden.weather().last_day == date(2026, 6, 29) and report.fresh


def test_a_wait_is_announced(garden: Garden):
    told: list[str] = []
    garden.stand_in.fault("/v1/forecast", "429", times=1, headers={"Retry-After": "30"})
    garden.update(announce=told.append)
    assert told == ["Open-Meteo forecast asks to wait 30 s"]


def test_nine_forecast_days_are_not_enough_for_a_first_forecast(garden: Garden):
    told: list[str] = []
    longer = garden.use("met-norway", "meteostat", years=6)
    garden.stand_in.fault("/2026/10001", "500")  # the nearest station's recent years fail
    garden.stand_in.fault("/2025/10001", "500")
    garden.stand_in.fault("/2024/10001", "500")
    longer.update(announce=told.append)
    assert told == ["7 years of Meteostat follow"]
