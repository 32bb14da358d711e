"""The client: what is kept, what is asked again, and what a grower reads when a service misbehaves."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from data_sources.weather.services.http import Http, HttpSettings
from data_sources.weather.services.http_faults import json_object
from data_sources.weather.services.protocol import ServiceError
from tests.data_sources.stand_in import StandIn

QUICK = {"connect_timeout": 2.0, "read_timeout": 0.4, "whole_timeout": 0.6, "pause": 0.0}
FORECAST = {
    "latitude": "50.11",
    "longitude": "8.62",
    "hourly": "temperature_2m",
    "timezone": "GMT",
    "timeformat": "unixtime",
    "forecast_days": "3",
}


def client(folder: Path | None = None, waits: list[float] | None = None, **more: float) -> Http:
    noted = [] if waits is None else waits
    return Http(HttpSettings(cache_folder=folder, **{**QUICK, **more}), sleep=noted.append)


def age(http: Http) -> None:
    """Let every kept answer be past its time."""
    http._open().cache.reset_expiration(datetime.now(UTC) - timedelta(minutes=5))


def ask(http: Http, stand_in: StandIn, **more: object) -> object:
    return http.get(f"{stand_in.base}/v1/forecast", json_object, params=FORECAST, **more)  # type: ignore[arg-type]


def test_an_answer_is_kept_for_its_time(stand_in: StandIn, tmp_path: Path):
    with client(tmp_path) as http:
        first, second = ask(http, stand_in), ask(http, stand_in)
    assert (first.from_cache, second.from_cache, len(stand_in.asked)) == (False, True, 1)
    assert second.value == first.value and not second.stale_because
    assert second.fetched_at == first.fetched_at or (first.fetched_at - second.fetched_at).total_seconds() < 2
    with client(tmp_path) as again:  # the copy outlives the program
        assert ask(again, stand_in).from_cache


def test_a_service_hears_who_calls(stand_in: StandIn):
    with Http(HttpSettings(agent="flushcast/0.1", contact="grower@example.org", **QUICK)) as http:
        ask(http, stand_in)
    assert stand_in.asked[0].headers["user-agent"] == "flushcast/0.1 grower@example.org"


@pytest.mark.parametrize(
    ("kind", "more", "fault", "words"),
    [
        ("404", {}, "absent", r"has nothing there \(404\)"),
        ("403", {}, "refused", r"refused the request \(403\)"),
        (
            "400",
            {"body": b'{"error":true,"reason":"Parameter \'end_date\' is out of range"}'},
            "refused",
            r"did not accept the request \(400\): Parameter 'end_date' is out of range",
        ),
        ("429", {"headers": {"Retry-After": "7200"}}, "limit", r"asks to wait 2 h \(429\)"),
        ("429", {}, "limit", r"has had enough requests for now \(429\)"),
        (
            "429",
            {"body": b'{"error":true,"reason":"Daily API request limit exceeded."}'},
            "limit",
            r"enough requests for now \(429\): Daily API request limit exceeded",
        ),
        ("500", {}, "server", r"has trouble of its own \(500\)"),
        ("503", {}, "server", r"has trouble of its own \(503\)"),
        ("html", {}, "damaged", "a web page instead of data"),
        ("empty", {}, "damaged", "an empty answer"),
        ("cut_gzip", {}, "damaged", "cannot be read|damaged answer"),
        ("cut", {}, "cut", "broke off in the middle of its answer"),
        ("drip", {}, "silent", r"was still sending after 0\.6 s"),
        ("loop", {}, "server", "round in circles"),
        ("broken", {}, "damaged", "its JSON breaks off"),
        ("list", {}, "damaged", "another shape than it documents"),
        (
            "body",
            {"body": b"Unexpected error while streaming data: timeout"},
            "damaged",
            "Unexpected error while streaming data: timeout",
        ),
        (
            "body",
            {"body": b'{"error": true, "reason": "no model there"}'},
            "server",
            "reports an error: no model there",
        ),
    ],
)
def test_every_fault_has_its_words(stand_in: StandIn, kind: str, more: dict, fault: str, words: str):
    stand_in.fault("/v1/forecast", kind, **more)
    with client() as http, pytest.raises(ServiceError, match=words) as caught:
        ask(http, stand_in)
    assert caught.value.fault == fault


@pytest.mark.parametrize("kind", ["chunks", "chunks_gzip"])
def test_an_answer_may_come_in_pieces_and_packed(stand_in: StandIn, kind: str):
    with client() as http:
        whole = ask(http, stand_in)
    stand_in.fault("/v1/forecast", kind)
    with client() as http:
        assert ask(http, stand_in).value == whole.value


def test_pieces_that_stop_coming_are_no_answer(stand_in: StandIn):
    stand_in.fault("/v1/forecast", "chunks_cut")
    with client() as http, pytest.raises(ServiceError, match="broke off in the middle"):
        ask(http, stand_in)


def test_a_flood_is_not_drunk_to_the_end(stand_in: StandIn):
    with client(largest=1000) as http, pytest.raises(ServiceError, match="sent more than can be right"):
        ask(http, stand_in)


def test_a_dead_proxy_is_named(stand_in: StandIn):
    calls = HttpSettings(proxies={"http": "http://127.0.0.1:9"}, **QUICK)
    with Http(calls) as http, pytest.raises(ServiceError, match="the proxy does not answer"):
        ask(http, stand_in)


def test_nobody_there(stand_in: StandIn):
    stand_in.stop()
    with client() as http, pytest.raises(ServiceError, match="could not be reached") as caught:
        ask(http, stand_in)
    assert caught.value.fault == "offline"


def test_silence_is_not_waited_out(stand_in: StandIn):
    stand_in.drip = 3.0
    stand_in.fault("/v1/forecast", "drip")
    with client() as http, pytest.raises(ServiceError, match="did not answer in time"):
        ask(http, stand_in)


def test_asked_to_wait_a_little_it_waits_once(stand_in: StandIn):
    waits: list[float] = []
    stand_in.fault("/v1/forecast", "429", times=1, headers={"Retry-After": "30"})
    with client(waits=waits) as http:
        ask(http, stand_in)
    assert waits == [30.0] and len(stand_in.asked) == 2

    stand_in.fault("/v1/forecast", "429", headers={"Retry-After": "30"})
    with client(waits=waits) as http, pytest.raises(ServiceError, match="asks to wait 30 s"):
        ask(http, stand_in)
    assert waits == [30.0, 30.0] and len(stand_in.asked) == 4


def test_a_minute_told_in_words_is_waited_too(stand_in: StandIn):
    waits: list[float] = []
    body = b'{"error":true,"reason":"Minutely API request limit exceeded. Please try again in one minute."}'
    stand_in.fault("/v1/forecast", "429", times=1, body=body)
    with client(waits=waits) as http:
        ask(http, stand_in)
    assert waits == [60.0]


def test_a_broken_connection_is_tried_once_more(stand_in: StandIn):
    stand_in.fault("/v1/forecast", "cut", times=1)
    with client() as http:
        assert not ask(http, stand_in).from_cache
    assert len(stand_in.asked) == 2


STALE = {
    "500": "has trouble of its own (500)",
    "html": "sent a web page instead of data (is there a login page between you and the network?)",
    "empty": "sent an empty answer",
    "broken": "sent an answer that cannot be read (its JSON breaks off)",
    "cut": "broke off in the middle of its answer",
    "cut_gzip": "sent an answer that cannot be read (its JSON breaks off)",
    "429": "has had enough requests for now (429)",
    "drip": "was still sending after 0.6 s",
    "loop": "sends the request round in circles",
}


@pytest.mark.parametrize("kind", STALE)
def test_an_old_copy_stands_in_and_says_why(stand_in: StandIn, tmp_path: Path, kind: str):
    with client(tmp_path) as http:
        good = ask(http, stand_in, keep_for=3600)
        age(http)
    stand_in.fault("/v1/forecast", kind)
    for _ in range(2):  # the fault must not push the copy out either
        with client(tmp_path) as http:
            old = ask(http, stand_in, keep_for=3600)
        assert old.value == good.value
        assert old.stale_because == STALE[kind] and old.from_cache
        assert abs((old.fetched_at - good.fetched_at).total_seconds()) < 2


def test_without_a_network_the_store_knows_as_much_as_a_copy(stand_in: StandIn, tmp_path: Path):
    with client(tmp_path) as http:
        ask(http, stand_in)
        age(http)
    stand_in.stop()
    with client(tmp_path) as http, pytest.raises(ServiceError, match="could not be reached"):
        ask(http, stand_in)


@pytest.mark.parametrize("code", ["400", "403", "404"])
def test_an_old_copy_does_not_hide_a_mistake(stand_in: StandIn, tmp_path: Path, code: str):
    with client(tmp_path) as http:
        ask(http, stand_in)
        age(http)
        stand_in.fault("/v1/forecast", code)
        with pytest.raises(ServiceError, match=code):
            ask(http, stand_in)


def test_too_old_a_copy_is_no_answer(stand_in: StandIn, tmp_path: Path):
    with client(tmp_path) as http:
        ask(http, stand_in)
        age(http)
    stand_in.fault("/v1/forecast", "500")
    with client(tmp_path, stale_for=200.0) as http, pytest.raises(ServiceError, match="500"):
        ask(http, stand_in)


def test_the_service_decides_how_long_an_answer_is_good(stand_in: StandIn, tmp_path: Path):
    url = f"{stand_in.base}/weatherapi/locationforecast/2.0/complete"
    params = {"lat": "50.11", "lon": "8.62", "altitude": "118"}
    stand_in.expires_in = 3600
    with Http(HttpSettings(tmp_path, contact="a@example.org", **QUICK)) as http:
        for _ in range(3):
            http.get(url, json_object, params=params)
        assert len(stand_in.asked) == 1  # none before Expires


def test_after_its_time_it_asks_whether_anything_changed(stand_in: StandIn, tmp_path: Path):
    url = f"{stand_in.base}/weatherapi/locationforecast/2.0/complete"
    params = {"lat": "50.11", "lon": "8.62", "altitude": "118"}
    stand_in.expires_in = -5
    with Http(HttpSettings(tmp_path, contact="a@example.org", **QUICK)) as http:
        first = http.get(url, json_object, params=params)
        stand_in.expires_in = 3600
        second = http.get(url, json_object, params=params)
        assert stand_in.asked[1].headers["if-modified-since"] == stand_in.last_modified
        assert second.value == first.value and not second.stale_because
        http.get(url, json_object, params=params)
    assert len(stand_in.asked) == 2  # the 304 brought a new Expires


def test_a_damaged_cache_is_put_aside(stand_in: StandIn, tmp_path: Path):
    (tmp_path / "http.sqlite").write_bytes(b"this is no database, only text" * 100)
    with client(tmp_path) as http:
        assert not ask(http, stand_in).from_cache
        assert http.notes == ["the copies of earlier answers were damaged; starting new ones"]
    assert (tmp_path / "http.damaged").exists()


def test_a_locked_cache_is_done_without(stand_in: StandIn, tmp_path: Path):
    with client(tmp_path) as http:
        ask(http, stand_in)
    other = sqlite3.connect(tmp_path / "http.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        with client(tmp_path) as http:
            assert not ask(http, stand_in).from_cache
            assert "in use by another flushcast" in http.notes[0]
    finally:
        other.close()


def test_it_is_polite_between_requests(stand_in: StandIn):
    waits: list[float] = []
    with client(waits=waits, pause=0.5) as http:
        for _ in range(2):
            http.get(f"{stand_in.base}/v1/forecast", json_object, params=FORECAST, cached=False)
    assert len(waits) == 1 and 0.3 < waits[0] <= 0.5
