"""The client: what is kept, what is asked again, and what a grower reads when a service misbehaves."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from data_sources.weather.services.transport import http as transport
from data_sources.weather.services.transport.faults import ServiceError, json_object
from data_sources.weather.services.transport.http import Http, Reply
from tests.data_sources.stand_in import StandIn

FORECAST = {
    "latitude": "50.11",
    "longitude": "8.62",
    "hourly": "temperature_2m",
    "timezone": "GMT",
    "timeformat": "unixtime",
    "forecast_days": "3",
}


def client(stand_in: StandIn, folder: Path | None = None, **more: Any) -> Http:
    return stand_in.http(stand_in.settings(cache_folder=folder, **more))


def ask(http: Http, stand_in: StandIn, **more: Any) -> Reply[dict[str, Any]]:
    return http.get(f"{stand_in.base}/v1/forecast", json_object, params=FORECAST, **more)


def ask_met_norway(http: Http, stand_in: StandIn) -> Reply[dict[str, Any]]:
    params = {"lat": "50.11", "lon": "8.62", "altitude": "118"}
    return http.get(f"{stand_in.base}/weatherapi/locationforecast/2.0/complete", json_object, params=params)


def age(http: Http) -> None:
    """Let every kept answer be past its time."""
    http.session.cache.reset_expiration(datetime.now(UTC) - timedelta(minutes=5))


def test_an_answer_is_kept_for_its_time(stand_in: StandIn, tmp_path: Path):
    before = datetime.now(UTC)
    with client(stand_in, tmp_path) as http:
        first, second = ask(http, stand_in), ask(http, stand_in)
    assert (first.from_cache, second.from_cache, len(stand_in.asked)) == (False, True, 1)
    assert second.value == first.value and second.fault is None
    assert before <= second.fetched_at <= first.fetched_at
    with client(stand_in, tmp_path) as again:  # the copy outlives the program
        assert ask(again, stand_in).from_cache


def test_a_service_hears_who_calls(stand_in: StandIn):
    with client(stand_in, agent="flushcast/0.1") as http:
        ask(http, stand_in)
    assert stand_in.asked[0].headers["user-agent"] == "flushcast/0.1 grower@example.org"


def reason(text: str) -> dict[str, Any]:
    return {"body": f'{{"error":true,"reason":"{text}"}}'.encode()}


FAULTS: list[tuple[str, dict[str, Any], str, str]] = [
    ("404", {}, "absent", r"has nothing there \(404\)"),
    ("403", {}, "refused", r"refused the request \(403\)"),
    (
        "400",
        reason("'end_date' is wrong"),
        "refused",
        r"did not accept the request \(400\): 'end_date' is wrong",
    ),
    ("429", {"headers": {"Retry-After": "7200"}}, "limit", r"asks to wait 2 h \(429\)"),
    ("429", {"headers": {"Retry-After": "soon"}}, "limit", r"has had enough requests for now \(429\)"),
    ("429", {}, "limit", r"has had enough requests for now \(429\)"),
    (
        "429",
        reason("Daily limit exceeded."),
        "limit",
        r"enough requests for now \(429\): Daily limit exceeded",
    ),
    ("500", {}, "server", r"has trouble of its own \(500\)"),
    ("503", {}, "server", r"has trouble of its own \(503\)"),
    ("html", {}, "damaged", "a web page instead of data"),
    ("empty", {}, "damaged", "an empty answer"),
    ("cut_gzip", {}, "damaged", "cannot be read|damaged answer"),
    ("cut", {}, "cut", "broke off in the middle of its answer"),
    ("chunks_cut", {}, "cut", "broke off in the middle of its answer"),
    ("drip", {}, "silent", r"was still sending after 90 s"),
    ("loop", {}, "server", "round in circles"),
    ("broken", {}, "damaged", "its JSON breaks off"),
    ("list", {}, "damaged", "another shape than it documents"),
    ("body", {"body": b"Unexpected error: timeout"}, "damaged", "cannot be read .Unexpected error: timeout"),
    ("body", reason("no model there"), "server", "reports an error: no model there"),
]


@pytest.mark.parametrize(("kind", "more", "fault", "words"), FAULTS)
def test_every_fault_has_its_words(stand_in: StandIn, kind: str, more: dict, fault: str, words: str):
    stand_in.fault("/v1/forecast", kind, **more)
    with client(stand_in) as http, pytest.raises(ServiceError, match=words) as caught:
        ask(http, stand_in)
    assert caught.value.fault == fault


@pytest.mark.parametrize("kind", ["chunks", "chunks_gzip"])
def test_an_answer_may_come_in_pieces_and_packed(stand_in: StandIn, kind: str):
    with client(stand_in) as http:
        whole = ask(http, stand_in)
    stand_in.fault("/v1/forecast", kind)
    with client(stand_in) as http:
        assert ask(http, stand_in).value == whole.value


def test_a_flood_is_not_drunk_to_the_end(stand_in: StandIn):
    with client(stand_in, largest=1000) as http, pytest.raises(ServiceError, match="more than can be right"):
        ask(http, stand_in)


def test_a_dead_proxy_is_named(stand_in: StandIn):
    with (
        client(stand_in, proxies={"http": "http://127.0.0.1:9"}) as http,
        pytest.raises(ServiceError, match="the proxy does not answer"),
    ):
        ask(http, stand_in)


def test_nobody_there(stand_in: StandIn):
    stand_in.stop()
    with client(stand_in) as http, pytest.raises(ServiceError, match="could not be reached") as caught:
        ask(http, stand_in)
    assert caught.value.fault == "offline"


def test_silence_is_not_waited_out_nor_tried_twice(stand_in: StandIn):
    stand_in.fault("/v1/forecast", "silent")  # until the client has hung up
    with (
        client(stand_in, read_timeout=0.05) as http,
        pytest.raises(ServiceError, match="did not answer in time"),
    ):
        ask(http, stand_in)
    assert len(stand_in.asked) == 1


def test_asked_to_wait_a_little_it_waits_once(stand_in: StandIn):
    stand_in.fault("/v1/forecast", "429", times=1, headers={"Retry-After": "30"})
    with client(stand_in) as http:
        ask(http, stand_in)
    assert stand_in.clock.waits == [30.0] and len(stand_in.asked) == 2

    stand_in.fault("/v1/forecast", "429", headers={"Retry-After": "30"})
    with client(stand_in) as http, pytest.raises(ServiceError, match="asks to wait 30 s"):
        ask(http, stand_in)
    assert stand_in.clock.waits == [30.0, 30.0] and len(stand_in.asked) == 4


def test_asked_to_wait_long_it_does_not(stand_in: StandIn):
    stand_in.fault("/v1/forecast", "429", headers={"Retry-After": "90"})
    with client(stand_in) as http, pytest.raises(ServiceError, match="asks to wait 2 min"):
        ask(http, stand_in)
    assert not stand_in.clock.waits and len(stand_in.asked) == 1


def test_a_minute_said_in_words_is_waited_too(stand_in: StandIn):
    words = reason("Minutely API request limit exceeded. Please try again in one minute.")
    stand_in.fault("/v1/forecast", "429", times=1, **words)
    with client(stand_in) as http:
        ask(http, stand_in)
    assert stand_in.clock.waits == [60.0]


@pytest.mark.parametrize("kind", ["cut", "500"])
def test_what_broke_is_tried_once_more(stand_in: StandIn, kind: str):
    stand_in.fault("/v1/forecast", kind, times=1)
    with client(stand_in) as http:
        assert not ask(http, stand_in).from_cache
    assert len(stand_in.asked) == 2 and stand_in.clock.waits == [2.0]


@pytest.mark.parametrize(
    "kind", ["500", "html", "empty", "broken", "cut", "cut_gzip", "429", "loop", "404", "204"]
)
def test_a_failure_is_never_answered_from_a_copy_that_ran_out(stand_in: StandIn, tmp_path: Path, kind: str):
    with client(stand_in, tmp_path) as http:
        good = ask(http, stand_in, keep_for=3600)
        age(http)
    stand_in.fault("/v1/forecast", kind)
    for _ in range(2):  # what was refused is not kept, and is asked again
        stand_in.asked.clear()
        with client(stand_in, tmp_path) as http, pytest.raises(ServiceError):
            ask(http, stand_in, keep_for=3600)
        assert stand_in.asked
    stand_in.mend()
    with client(stand_in, tmp_path) as http:
        new = ask(http, stand_in, keep_for=3600)
    assert new.value == good.value and not new.from_cache


STRANGE = [
    *[("202", {}), ("204", {}), ("206", {}), ("300", {}), ("304", {}), ("302", {})],
    *[
        ("302", {"headers": {"Location": where}})
        for where in ("file:///etc/passwd", "http://[", "//", "http://")
    ],
    *[
        ("body", {"body": body})
        for body in (b"[" * 100_000, b'{"a":' * 50_000, b"null", b"1" * 6000, b"\xff\xfe")
    ],
]


@pytest.mark.parametrize(("kind", "more"), STRANGE)
def test_strange_answers_are_faults_with_words(stand_in: StandIn, kind: str, more: dict):
    stand_in.fault("/v1/forecast", kind, **more)
    with client(stand_in) as http:
        with pytest.raises(ServiceError) as caught:
            ask(http, stand_in, keep_for=3600)
        assert not http.session.cache.responses
    assert caught.value.words and "\n" not in caught.value.words


def test_the_time_of_an_update_is_shared(stand_in: StandIn):
    """Every answer that drips may take half of what is left; when all is gone nobody is asked."""
    stand_in.fault("/v1/forecast", "drip")
    with client(stand_in, budget=1500.0, whole_timeout=10_000.0) as http:
        for given in (750, 250):
            with pytest.raises(ServiceError, match=f"was still sending after {given} s"):
                ask(http, stand_in)
        with pytest.raises(ServiceError, match="the time of this update is over") as caught:
            ask(http, stand_in)
    assert caught.value.fault == "late" and len(stand_in.asked) == 2


def test_a_wait_longer_than_the_update_has_is_not_waited(stand_in: StandIn):
    stand_in.fault("/v1/forecast", "429", headers={"Retry-After": "30"})
    with client(stand_in, budget=50.0) as http, pytest.raises(ServiceError, match="asks to wait 30 s"):
        ask(http, stand_in)
    assert not stand_in.clock.waits


def test_what_is_not_there_may_be_remembered(stand_in: StandIn):
    stand_in.fault("/v1/forecast", "404")
    with client(stand_in) as http:
        for _ in range(2):
            with pytest.raises(ServiceError, match="404"):
                ask(http, stand_in, absent_for=3600)
        assert len(stand_in.asked) == 1
        with pytest.raises(ServiceError, match="404"):
            ask(http, stand_in)


def test_a_list_much_shorter_than_the_last_is_held_back(stand_in: StandIn):
    def listed(lines: int) -> Reply[dict[str, Any]]:
        stand_in.fault("/v1/forecast", "body", times=1, body=f'{{"lines": {lines}}}'.encode())
        reply = ask(http, stand_in, size=lambda answer: answer["lines"])
        age(http)
        return reply

    with client(stand_in) as http:
        assert listed(1000).value == {"lines": 1000}
        assert listed(950).value == {"lines": 950}
        for _ in range(2):  # asked again each time
            old = listed(500)
            assert old.value == {"lines": 950} and old.fault is not None
            assert old.fault.words == "sent a list of 500 where it had sent 950"
        assert listed(940).fault is None
        stand_in.fault("/v1/forecast", "500")
        assert ask(http, stand_in, size=lambda answer: answer["lines"]).value == {"lines": 940}


def test_the_service_decides_how_long_an_answer_is_good(stand_in: StandIn, tmp_path: Path):
    stand_in.expires_in = 3600
    with client(stand_in, tmp_path) as http:
        for _ in range(3):
            ask_met_norway(http, stand_in)
        assert len(stand_in.asked) == 1  # none before Expires


def test_after_its_time_it_asks_whether_anything_changed(stand_in: StandIn, tmp_path: Path):
    stand_in.expires_in = -5
    with client(stand_in, tmp_path) as http:
        first = ask_met_norway(http, stand_in)
        stand_in.expires_in = 3600
        second = ask_met_norway(http, stand_in)
        assert stand_in.asked[1].headers["if-modified-since"] == stand_in.last_modified
        assert second.value == first.value and second.fault is None
        assert second.fetched_at >= first.fetched_at
        ask_met_norway(http, stand_in)
    assert len(stand_in.asked) == 2  # the 304 brought a new Expires


def test_a_damaged_cache_is_put_aside(stand_in: StandIn, tmp_path: Path):
    (tmp_path / "http.sqlite").write_bytes(b"this is no database, only text" * 100)
    with client(stand_in, tmp_path) as http:
        assert not ask(http, stand_in).from_cache
        assert http.notes == ["the copies of earlier answers were damaged; starting new ones"]
    assert (tmp_path / "http.damaged").exists()


def test_a_locked_cache_is_done_without(stand_in: StandIn, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(transport, "LOCK_PATIENCE", 0.0)
    with client(stand_in, tmp_path) as http:
        ask(http, stand_in)
    other = sqlite3.connect(tmp_path / "http.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        with client(stand_in, tmp_path) as http:
            assert not ask(http, stand_in).from_cache
            assert "in use by another flushcast" in http.notes[0]
    finally:
        other.close()


def test_it_is_polite_between_requests(stand_in: StandIn):
    from dataclasses import replace

    with stand_in.http(replace(stand_in.settings(), pause=0.5)) as http:
        for days in "123":
            http.get(f"{stand_in.base}/v1/forecast", json_object, params={**FORECAST, "forecast_days": days})
            stand_in.clock.seconds += 0.125
    assert stand_in.clock.waits == [0.375, 0.375]
