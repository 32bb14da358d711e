"""Whatever bytes come from outside, only our own errors leave a parser, and nothing is written."""

from __future__ import annotations

import gzip
import json
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from data_sources.tables.problems import FileQuestion
from data_sources.weather.files.reader import read_weather_file
from data_sources.weather.services.forecasts.met_norway import forecast_days, read_steps
from data_sources.weather.services.forecasts.open_meteo import read_runs
from data_sources.weather.services.protocol.checks import as_weather, believable
from data_sources.weather.services.stations.meteostat import read_stations, read_year
from data_sources.weather.services.stations.noaa import (
    by_distance,
    measuring_both,
    read_record,
    read_summaries,
)
from data_sources.weather.services.transport.faults import (
    ServiceError,
    json_object,
    own_words,
    parser,
    wait_asked,
)
from data_sources.weather.store.records import EARLIEST, LATEST
from phenology.model.errors import FlushcastError
from tests.data_sources.invented_services import STATIONS, InventedServices
from tests.data_sources.test_weather_forecasts import HERE, TODAY

ZONE, STATION = HERE.timezone, STATIONS[0].noaa
CELLS = [
    *("", " ", "-", "abc", "nan", "inf", "-inf", "1e999", "-9999", "99999", "0x10", "1_000", "٣", "½", "1,5"),
    *(
        "9999-12-31",
        "0000-00-00",
        "-1",
        "1e-320",
        "null",
        '"',
        "'",
        "\0",
        "\n",
        "\r\n",
        ",",
        ";",
        "\ufeff",
        "°",
    ),
    *(
        "../../../../EVIL",
        "'; DROP TABLE stations; --",
        "%",
        "A" * 300,
        "9" * 40,
        "10.5.5",
        "true",
        "[]",
        "{}",
    ),
]
VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.sampled_from(CELLS), st.just([]), st.just({}),
    st.just(10**400), st.lists(st.none(), max_size=3),
)  # fmt: skip


def served(path: str, **query: str) -> bytes:
    """What a service that is well answers."""
    agent = {"user-agent": "flushcast grower@example.org"}
    return InventedServices(TODAY).answer(path, query, agent, "").body


PLACE = {"hourly": "temperature_2m", "timezone": "GMT", "timeformat": "unixtime"}
FORECAST = served("/v1/forecast", latitude="50.1", longitude="8.6", forecast_days="3", past_days="2", **PLACE)
STEPS = served("/weatherapi/locationforecast/2.0/complete", lat="50.1", lon="8.6")
YEAR = served("/daily/2026/10001.csv.gz")
RECORD = b"\n".join(served(f"/ghcn/daily/all/{STATION}.dly").splitlines()[:8])
SUMMARIES = served(
    "/access/services/data/v1", dataset="daily-summaries", format="csv", units="metric",
    stations=STATION, startDate="2026-05-01", endDate="2026-06-01",
)  # fmt: skip


def in_time(days: Any) -> None:
    """Days of a service are bounded, finite, and become a series."""
    values = days[["tmin", "tmax"]].to_numpy(dtype=float)
    assert not np.isinf(values).any()
    if len(days):
        first, last = days.index.min().date(), days.index.max().date()
        assert EARLIEST <= first <= last <= LATEST
    if len(days) and (last - first).days < 5000:
        as_weather(days)


def _runs(body: bytes) -> None:
    for days in read_runs(body, ZONE).days.values():
        in_time(days)


def _steps(body: bytes) -> None:
    in_time(parser(lambda: believable(forecast_days(read_steps(body), ZONE)[0]))())


def _near(body: bytes) -> None:
    for station in by_distance(body, {one.noaa for one in STATIONS}, HERE)[0]:
        assert np.isfinite(station.distance_km)


def _stations(body: bytes) -> None:
    for station in read_stations(body, HERE)[0]:
        assert station.id.isalnum() and len(station.id) == 5


PARSERS: dict[str, tuple[bytes, Callable[[bytes], object]]] = {
    "Open-Meteo": (FORECAST, _runs),
    "MET Norway": (STEPS, _steps),
    "Meteostat, a year": (gzip.decompress(YEAR), lambda body: in_time(read_year(body, 2026))),
    "Meteostat, packed": (YEAR, lambda body: in_time(read_year(body, 2026))),
    "Meteostat, stations": (served("/stations.db"), _stations),
    "GHCN-Daily": (RECORD, lambda body: in_time(read_record(body, STATION))),
    "NCEI": (SUMMARIES, lambda body: in_time(read_summaries(body, STATION))),
    "inventory": (served("/ghcn/daily/ghcnd-inventory.txt"), lambda body: measuring_both(body, 2025)),
    "list": (served("/ghcn/daily/ghcnd-stations.txt"), _near),
    "JSON": (b'{"error": true, "reason": "no"}', json_object),
    "own words": (b'{"reason": "no"}', own_words),
    "Retry-After": (b"10", lambda body: wait_asked(body.decode("latin-1"))),
}


@st.composite
def spoilt(draw: st.DrawFn, good: bytes) -> bytes:
    """A good body with pieces cut out, doubled, or put in their place."""
    body = good
    for _ in range(draw(st.integers(0, 4))):
        at = draw(st.integers(0, max(len(body) - 1, 0)))
        to = min(len(body), at + draw(st.sampled_from([0, 1, 2, 5, 40, 10**6])))
        new = draw(st.one_of(st.sampled_from([c.encode("utf-8") for c in CELLS]), st.binary(max_size=8)))
        body = body[:at] + new + body[to:]
    return draw(st.sampled_from([body, body, body, body[::-1], body * 2, draw(st.binary(max_size=300))]))


@st.composite
def spoilt_json(draw: st.DrawFn, good: bytes) -> bytes:
    """A good JSON answer with values of another kind somewhere in it."""
    answer = json.loads(good)
    for _ in range(draw(st.integers(1, 4))):
        place: Any = answer
        while isinstance(place, dict | list) and place:
            keys = list(place) if isinstance(place, dict) else range(len(place))
            key = keys[draw(st.integers(0, len(keys) - 1))]
            if not isinstance(place[key], dict | list) or draw(st.integers(0, 5)) == 0:
                place[key] = draw(VALUES)
                break
            place = place[key]
    return json.dumps(answer).encode()


@st.composite
def spoilt_table(draw: st.DrawFn, good: bytes) -> bytes:
    """A good table with other cells."""
    rows = [line.split(",") for line in good.decode().splitlines()]
    for _ in range(draw(st.integers(1, 4))):
        row = rows[draw(st.integers(0, len(rows) - 1))]
        row[draw(st.integers(0, len(row) - 1))] = draw(st.sampled_from(CELLS))
    return ("\n".join(map(",".join, rows)) + "\n").encode()


def _bodies(good: bytes) -> st.SearchStrategy[bytes]:
    kinds = [spoilt(good)]
    if good[:1] == b"{":
        kinds.append(spoilt_json(good))
    if b"," in good[:40] and good[:1] != b"{":
        kinds.append(spoilt_table(good))
    return st.one_of(kinds)


@pytest.fixture
def nothing_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that every careless path and every temporary file would end in."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def fuzz(examples: int) -> settings:
    """The same bodies at every run."""
    return settings(
        max_examples=examples,
        derandomize=True,
        database=None,
        suppress_health_check=list(HealthCheck),
    )


MANY = pytest.mark.parametrize("examples", [30, pytest.param(500, marks=pytest.mark.slow)])


@MANY
@pytest.mark.parametrize("name", PARSERS)
def test_only_our_own_error_leaves_a_parser_of_answers(name: str, examples: int, nothing_written: Path):
    good, parse = PARSERS[name]
    if name != "JSON":  # its good body tells of an error
        parse(good)

    @fuzz(examples)
    @given(_bodies(good))
    def offered(body: bytes) -> None:
        try:
            parse(body)
        except ServiceError as error:
            assert error.words and "\n" not in error.words and len(error.words) < 300

    offered()
    assert list(nothing_written.iterdir()) == []


FILES = {
    "days.csv": b"date,tmin_c,tmax_c\n2026-03-01,1.5,9.0\n2026-03-02,0.2,7.5\n2026-03-03,-2.0,5.0\n",
    "days;.csv": "Datum;Min (°C);Max (°C)\n01.03.2026;1,5;9,0\n02.03.2026;0,2;7,5\n".encode(),
    "log.csv": ("time,temp (°C)\n" + "".join(f"2026-03-01 {h:02d}:00,{h}\n" for h in range(24))).encode(),
    "log serial.csv": (
        "time,temp (°C)\n" + "".join(f"{46082 + h / 24:.5f},{h}\n" for h in range(24))
    ).encode(),
    "station.dly": RECORD,
    "ncei.csv": SUMMARIES,
}


@MANY
@pytest.mark.parametrize("name", FILES)
def test_only_our_own_error_leaves_a_reader_of_files(name: str, examples: int, nothing_written: Path):
    path = nothing_written / name

    @fuzz(examples)
    @given(_bodies(FILES[name]), st.sampled_from([None, "C", "F", "tenths"]))
    def offered(body: bytes, units: str | None) -> None:
        path.write_bytes(body)
        try:
            weather, report = read_weather_file(path, units=units, timezone=ZONE)
        except (FlushcastError, FileQuestion) as error:
            assert str(error)
        else:
            assert len(weather) and report.lines()
            assert EARLIEST <= weather.first_day <= weather.last_day <= LATEST

    offered()
    assert [one.name for one in nothing_written.iterdir()] == [name]


def test_a_bounded_day_is_one_a_frame_can_hold():
    pd.date_range(EARLIEST, LATEST, freq="YE")
