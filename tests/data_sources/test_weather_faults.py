"""Every fault at every service: none is a traceback, none fools the store, and the next day all is well.

The cells of the table are made from the two lists `FAULTS` and `ROUTES`; a cell that says nothing has its
reason in `REASONS`. The number of runs and of passes is printed at the end (`conftest.py`).
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from data_sources.weather.request_log import RequestLog
from data_sources.weather.services.registry import SERVICES, make_services
from data_sources.weather.services.transport.settings import WeatherSettings
from data_sources.weather.store.weather_store import WeatherStore
from data_sources.weather.update import UpdateReport, update_weather
from phenology.weather.series import DailyWeather
from tests.data_sources.invented_services import EVIL
from tests.data_sources.series import fingerprint
from tests.data_sources.stand_in import StandIn
from tests.data_sources.test_weather_forecasts import HERE, TODAY

NOON = datetime(2026, 6, 14, 10, tzinfo=UTC)
TOMORROW = TODAY + timedelta(days=1)

ROUTES = {
    "meteostat": ("/daily/", "meteostat"),
    "meteostat's list": ("/stations.db", "meteostat"),
    "open-meteo-forecast": ("/v1/forecast", "open-meteo-forecast"),
    "open-meteo-archive": ("/v1/archive", "open-meteo-archive"),
    "open-meteo-ensemble": ("/v1/ensemble", "open-meteo-ensemble"),
    "met-norway": ("/weatherapi", "met-norway"),
    "ghcn-daily": (".dly", "ghcn-daily"),
    "ghcn-daily's inventory": ("ghcnd-inventory", "ghcn-daily"),
    "ghcn-daily's list": ("ghcnd-stations", "ghcn-daily"),
    "ncei-daily": ("services/data", "ncei-daily"),
}
"""What misbehaves, and the service that asks there."""

LISTS = tuple(name for name in ROUTES if "'s " in name)
STATIONS = ("meteostat", "ghcn-daily", "ncei-daily")
HOURS = tuple(name for name in ROUTES if name.startswith(("open-meteo", "met-")))


@dataclass(frozen=True)
class FaultCase:
    """What goes wrong, and whether nothing of the answer can be used (`refused`)."""

    name: str
    kind: str
    more: tuple[tuple[str, Any], ...] = ()
    refused: bool = True


def _status(code: int, **headers: str) -> FaultCase:
    more = {name.replace("_", "-"): value for name, value in headers.items()}
    words = " ".join([str(code), *more.values()])
    return FaultCase(words, str(code), (("headers", more), ("body", b"no")))


def _body(name: str, body: bytes) -> FaultCase:
    return FaultCase(name, "body", (("body", body),))


FAULTS = [
    *map(_status, (202, 204, 206, 300, 302, 304, 400, 401, 403, 404, 407, 410, 418, 429, 451)),
    *map(_status, (500, 501, 502, 503, 504, 508, 999)),
    *(_status(429, Retry_After=wait) for wait in ("10", "3600", "soon", "-5", "99999999999999999999")),
    _status(503, Retry_After="10"),
    *(_status(302, Location=where) for where in ("file:///etc/passwd", "http://[", "//", "http://")),
    *(FaultCase(kind, kind) for kind in ("loop", "html", "empty", "broken", "cut", "cut_gzip", "chunks_cut")),
    *(FaultCase(kind, kind) for kind in ("silent", "drip")),
    _body("white", b" \n\n "),
    _body("null", b"null"),
    _body("a number", b"1e999"),
    _body("a long number", b"1" * 6000),
    _body("nested", b"[" * 100_000),
    _body("nested objects", b'{"a":' * 100_000),
    _body("an empty object", b"{}"),
    _body("an error with 200", b'{"error": true, "reason": "no such model"}'),
    _body("text", b"Unexpected error while streaming data: timeout"),
    _body("bytes", bytes(range(256)) * 40),
    _body("zeros", b"\0" * 4096),
    _body("UTF-16", '{"hourly": {}}'.encode("utf-16")),
    _body("a gzip of nothing", b"\x1f\x8b\x08\x00"),
    FaultCase("list", "list"),
    *(FaultCase(kind, kind) for kind in ("old", "tenfold", "doubled", "milliseconds", "year_9999")),
    *(FaultCase(kind, kind) for kind in ("no_number", "infinite", "nulls_all")),
    *(
        FaultCase(kind, kind, refused=False)
        for kind in ("zeros", "nulls_end", "nulls_inside", "hot", "unstated_fahrenheit", "five_warmer")
    ),
    *(FaultCase(kind, kind, refused=False) for kind in ("fahrenheit_lately", "fifteen_warmer_lately")),
    *(FaultCase(kind, kind) for kind in ("half_list", "empty_list", "evil_list")),
]

_OF_LISTS = ("half_list", "empty_list", "evil_list")
_OF_VALUES = tuple(case.name for case in FAULTS[FAULTS.index(FaultCase("old", "old")) : -3])


def _reason(fault: str, route: str) -> str:
    """Why a cell says nothing; empty when it does."""
    if route in LISTS and fault in (*_OF_VALUES, "list"):
        return "a list of stations holds no weather"
    if route not in LISTS and fault in _OF_LISTS:
        return "this is no list of stations"
    if fault == "list" and route in (*STATIONS, "met-norway"):
        return "one answer for several places is a shape of Open-Meteo alone"
    if fault == "milliseconds" and route in STATIONS:
        return "days of stations are dates"
    if fault == "infinite" and route == "ghcn-daily":
        return "its values are digits; there is no infinite one"
    if fault == "five_warmer" and route in HOURS:
        return "five degrees are the usual error of a forecast, and a model is corrected by the bench"
    if fault == "five_warmer" and route in STATIONS:
        return "its own test: a correction of many days waits (test_weather_revisions.py)"
    if fault == "fifteen_warmer_lately" and SERVICES[ROUTES[route][1]].gives != "history":
        return "a heat wave at the end of a forecast may be true"
    if fault == "304" and route in ("meteostat", "ghcn-daily", "met-norway"):
        return "asked whether anything has changed, 304 says no"
    if fault == "old" and route in STATIONS:
        return "a station that has not reported is no fault"
    if fault == "old" and route == "open-meteo-archive":
        return "an archive may be behind; its days are days of the past all the same"
    return ""


CELLS = [
    pytest.param(
        fault,
        route,
        id=f"{fault.name}-{route}",
        marks=[pytest.mark.skip(reason=why)] if (why := _reason(fault.name, route)) else [],
    )
    for fault in FAULTS
    for route in ROUTES
]


class Ground:
    """One server, and for every service a garden that it has served well until today."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.stand_in = folder, StandIn(TODAY)
        self._ready: dict[str, Path] = {}
        self._healthy: dict[str, DailyWeather] = {}

    def settings(self, folder: Path, service: str, read_timeout: float = 30.0) -> WeatherSettings:
        more: dict[str, Any] = {
            "years": 4,
            "stations": 2,
            "read_timeout": read_timeout,
            "sources": (service,),
        }
        return self.stand_in.settings(cache_folder=folder / "cache", **more)

    def garden(self, service: str, folder: Path) -> None:
        """A copy of the garden after a good update, its answers a day older."""
        if service not in self._ready:
            self._ready[service] = self.folder / service
            self._ready[service].mkdir()
            if SERVICES[service].gives != "history":  # what lately was, so that a forecast can be judged
                self.update(self._ready[service], "open-meteo-archive", NOON)
            assert self.update(self._ready[service], service, NOON).fresh
        shutil.copytree(self._ready[service], folder, dirs_exist_ok=True)
        with self.stand_in.http(self.settings(folder, service)) as http:
            responses = http.session.cache.responses
            for key, response in list(responses.items()):
                old = timedelta(days=100 if "stations" in response.url or "inventory" in response.url else 1)
                response.expires, response.created_at = response.expires - old, response.created_at - old
                responses[key] = response

    def healthy(self, service: str) -> DailyWeather:
        """The weather after two good days."""
        if service not in self._healthy:
            folder = self.folder / f"{service}-healthy"
            self.garden(service, folder)
            self.stand_in.today = TOMORROW
            self.update(folder, service, NOON + timedelta(days=1))
            self.stand_in.today = TODAY
            self._healthy[service] = stored(folder)[0]
        return self._healthy[service]

    def update(self, folder: Path, service: str, now: datetime, read_timeout: float = 30.0) -> UpdateReport:
        settings = self.settings(folder, service, read_timeout)
        with (
            self.stand_in.http(settings, now=lambda: now) as http,
            WeatherStore.open(folder, create=True) as store,
        ):
            log, services = RequestLog(folder, "bench", HERE), make_services(settings, http)
            return update_weather(store, "bench", HERE, services, now=now, years=4, log=log)


@pytest.fixture(scope="module")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ground]:
    made = Ground(tmp_path_factory.mktemp("ground"))
    yield made
    made.stand_in.stop()


def stored(folder: Path) -> tuple[DailyWeather, dict[int, set[int]]]:
    """The weather up to yesterday, and the days of every issue of a forecast."""
    with WeatherStore.open(folder) as store:
        past, weather = store.past_forecasts("bench"), store.find("bench")
    assert weather is not None
    issues: dict[int, set[int]] = {}
    for issued, day in zip(past.issued.tolist(), past.day.tolist(), strict=True):
        issues.setdefault(issued, set()).add(day)
    return weather, issues


def as_without_fault(weather: DailyWeather, healthy: DailyWeather) -> None:
    """No value in use differs from the one without any fault by more than a station or a forecast may."""
    other = healthy.spanning(weather.first_day, weather.last_day)
    for values, truth in ((weather.tmin, other.tmin), (weather.tmax, other.tmax)):
        away = np.abs(values - truth)
        assert not (away[~np.isnan(away)] > 3.5).any(), "a wrong value is in use"


@pytest.mark.slow
@pytest.mark.parametrize(("fault", "route"), CELLS)
def test_no_fault_fools_the_store(
    fault: FaultCase, route: str, ground: Ground, tmp_path: Path, record_property: Any
):
    record_property("table", "faults x services")
    where, service = ROUTES[route]
    server = ground.stand_in
    server.mend()
    server.today = TODAY
    healthy = ground.healthy(service)
    ground.garden(service, tmp_path)
    before, issues = stored(tmp_path)
    files = {path.name for path in tmp_path.rglob("*")}

    server.today, server.clock.seconds = TOMORROW, 0.0
    server.fault(where, fault.kind, **dict(fault.more))
    patience = 0.1 if fault.kind == "silent" else 30.0
    report = ground.update(tmp_path, service, NOON + timedelta(days=1), patience)
    for line in report.lines:
        assert "\n" not in line and len(line) < 400 and "Error)" not in line.replace("(ValueError)", "")
    after, issues_after = stored(tmp_path)
    now = after.spanning(before.first_day, before.last_day)
    assert (now.known | ~before.known | (before.source == "forecast")).all(), "a day vanished"
    as_without_fault(now, healthy)
    assert all(days <= issues_after[issued] for issued, days in issues.items()), "a forecast lost days"
    assert after.last_day <= TOMORROW + timedelta(days=35)
    if fault.refused and route not in LISTS:
        assert fingerprint(after) == fingerprint(before) and not report.fresh and report.lines
    new = {path.name for path in tmp_path.rglob("*")} - files
    assert not any("EVIL" in name for name in new)
    assert not any(EVIL.rsplit("/", 1)[1] in asked.path for asked in server.asked[-20:])

    server.mend()
    server.clock.seconds = 0.0
    report = ground.update(tmp_path, service, NOON + timedelta(days=1, hours=1))
    healed, _ = stored(tmp_path)
    assert report.fresh and not report.failed, report.lines
    as_without_fault(healed, healthy)
    if service in SERVICES and SERVICES[service].gives == "history" and not fault.name.startswith("nulls"):
        reach = {"open-meteo-archive": 5}.get(service, 2)
        assert healed.last_known_day() >= date.fromordinal(TOMORROW.toordinal() - reach - 1)
