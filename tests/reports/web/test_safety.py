"""Safe by default, line by line."""

from __future__ import annotations

import sqlite3
from datetime import date
from pathlib import Path

import pytest

from data_sources.look_photos import photo_path
from reports.web import app
from reports.web.app import Serving
from reports.web.devices import TRIES, Devices
from reports.web.safety import MOST_BYTES, MOST_FILE_BYTES, Reach
from tests.reports.web.site import HERE, Phone, words

LOOK = {"stage": "soft", "token": "aaaaaaaa-0000"}


class Clock:
    """Seconds that a test moves on."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def home(phone: Phone, clock: Clock) -> tuple[Phone, Devices]:
    """The same garden on the home network, where devices are paired."""
    devices = Devices(phone.folder, clock, lambda: date(2026, 7, 25))
    reach = Reach(("127.0.0.1", "192.168.1.5"))
    return Phone(phone.folder, reach, devices, "http://192.168.1.5:8420"), devices


def test_without_lan_only_this_computer_is_listened_to(tmp_path, monkeypatch) -> None:
    bound = []

    class Listening:
        def __enter__(self) -> Listening:
            return self

        def __exit__(self, *_: object) -> None: ...

        def setsockopt(self, *_: object) -> None: ...

        def bind(self, address: tuple[str, int]) -> None:
            bound.append(address)
            raise OSError(98, "Address already in use")

    monkeypatch.setattr(app.socket, "socket", Listening)
    with pytest.raises(app.InputError, match="port 8420 cannot be had"):
        app.serve(Serving(tmp_path, 8420), None)
    assert bound == [("127.0.0.1", 8420)]
    assert Serving(tmp_path, 8420).devices() is None


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", ""])
def test_another_host_is_refused(phone: Phone, host: str) -> None:
    assert phone.get("/more", headers={"host": host}).status_code == 400
    assert phone.get("/more", headers={"host": "localhost:8420"}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {},
    ],
)
@pytest.mark.parametrize("path", ["/look", "/undo", "/work", "/settings", "/api/undo"])
def test_a_write_from_elsewhere_is_refused(phone: Phone, headers: dict[str, str], path: str) -> None:
    answer = phone.client.post(path, data={"tree": phone.tree("Elm 1"), **LOOK}, headers=headers)
    assert answer.status_code == 403 and phone.looks() == []


def test_a_program_without_an_origin_may_write_json_and_nothing_else(phone: Phone) -> None:
    answer = phone.client.post("/api/look", json={"trees": "Elm 1", "stage": "soft"})
    assert answer.status_code == 200 and len(phone.looks()) == 1
    text = phone.client.post("/api/undo", content="{}", headers={"content-type": "text/plain"})
    assert text.status_code == 403 and len(phone.looks()) == 1


def test_every_answer_carries_the_headers(phone: Phone) -> None:
    broken = phone.get("/more", headers={"host": "evil.example"})
    for answer in (phone.get("/more"), phone.get("/nowhere"), phone.get("/api/openapi.json"), broken):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy and "script-src 'self';" in policy
        assert "frame-ancestors 'none'" in policy and "base-uri 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert answer.headers["x-frame-options"] == "DENY"


def test_pages_hold_no_script_of_their_own_and_ask_nobody_else(phone: Phone) -> None:
    for path in ("/more", f"/look?tree={phone.tree('Elm 1')}", "/trees", "/devices"):
        html = phone.get(path).text
        assert html.count("<script") == 1 and 'src="/static/bench.js?' in html
        assert " onclick" not in html and "javascript:" not in html and "http://" not in html


def test_what_growers_write_is_escaped(phone: Phone) -> None:
    evil = "<img src=x onerror=alert(1)>"
    phone.post("/look", {"tree": phone.tree("Elm 1"), **LOOK, "note": evil})
    html = phone.get(f"/trees/{phone.tree('Elm 1')}").text
    assert evil not in html and "&lt;img src=x" in html


def test_a_body_that_is_too_large_is_refused(phone: Phone) -> None:
    big = "x" * (MOST_BYTES + 1)
    assert phone.post("/look", {"tree": phone.tree("Elm 1"), **LOOK, "note": big}).status_code == 413

    def pieces():
        for _ in range(30):
            yield b"x" * 10_000

    kind = {"content-type": "application/x-www-form-urlencoded", "origin": HERE}
    assert phone.client.post("/look", content=pieces(), headers=kind).status_code == 413
    assert phone.looks() == []


def test_a_photo_of_another_kind_or_too_large_is_refused_whole(phone: Phone) -> None:
    form = {"tree": phone.tree("Elm 1"), **LOOK}
    for body, status in ((b"GIF89a no photo", 422), (b"x" * (MOST_FILE_BYTES + 1), 413)):
        assert phone.post("/look", form, files={"photo": ("a.jpg", body, "image/jpeg")}).status_code == status
    elsewhere = phone.post("/work", form, files={"photo": ("a.jpg", b"x" * MOST_BYTES, "image/jpeg")})
    assert elsewhere.status_code == 413
    assert phone.looks() == [] and not (phone.folder / "photos").exists()


@pytest.mark.parametrize(
    "path",
    [
        "/photos/..%2fjournal.sqlite", "/photos/%2e%2e/garden.toml", "/static/..%2f..%2f..%2fpyproject.toml",
        "/static/../app.py", "/photos/%00", "/trees/..%2f..", "/style/..%2fx.css",
    ],
)  # fmt: skip
def test_no_path_from_a_client_reaches_the_disk(phone: Phone, path: str) -> None:
    answer = phone.get(path)
    assert answer.status_code in (303, 404, 422) and b"SQLite" not in answer.content


def test_a_photo_is_found_by_the_record_not_by_what_was_asked(phone: Phone) -> None:
    stray = photo_path(phone.folder, "not-on-record")
    stray.parent.mkdir()
    stray.write_bytes(b"private")
    assert phone.get("/photos/not-on-record").status_code == 422


def test_errors_show_nothing_of_the_inside(phone: Phone, monkeypatch, caplog) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("/home/somebody/secret")

    monkeypatch.setattr("reports.web.keeper.Keeper.state", broken)
    answer = phone.get("/")
    assert answer.status_code == 500
    assert "secret" not in answer.text and "Traceback" not in answer.text
    assert "content-security-policy" in answer.headers


def test_a_damaged_journal_is_told_in_words(phone: Phone) -> None:
    (phone.folder / "journal.sqlite").write_bytes(b"not a journal" * 100)
    answer = phone.get("/trees")
    assert answer.status_code == 503 and "Traceback" not in answer.text


def test_a_journal_that_is_being_written_is_waited_for(phone: Phone) -> None:
    """A writer that stays is no error either: reading goes on beside it."""
    with sqlite3.connect(phone.folder / "journal.sqlite", isolation_level=None) as other:
        other.execute("BEGIN IMMEDIATE")
        assert phone.get("/trees").status_code == 200
        other.execute("ROLLBACK")


def test_what_came_through_a_proxy_nobody_told_of_is_refused(phone: Phone) -> None:
    answer = phone.get("/more", headers={"x-forwarded-for": "203.0.113.9"})
    assert answer.status_code == 403 and "--behind" in answer.text


@pytest.mark.parametrize("path", ["/garden/more", "/more"])
def test_behind_a_proxy_every_link_has_the_prefix(phone: Phone, path: str) -> None:
    reach = Serving(phone.folder, 8420, behind="trees.example", prefix="/garden/").reach
    behind = Phone(phone.folder, reach, base="https://trees.example")
    html = behind.get(path, headers={"x-forwarded-for": "203.0.113.9"}).text
    assert 'href="/garden/look"' in html and 'href="/look"' not in html
    form = {"tree": phone.tree("Elm 1"), **LOOK}
    assert behind.post("/look", form).headers["location"].startswith("/garden/saved/")


def test_a_prefix_is_a_path(tmp_path) -> None:
    with pytest.raises(app.InputError, match="a prefix is a path such as /garden"):
        _ = Serving(tmp_path, 8420, prefix="javascript:x").reach


def test_nobody_is_let_in_unpaired(home: tuple[Phone, Devices]) -> None:
    phone, _ = home
    assert phone.get("/").headers["location"] == "/pair"
    assert phone.get("/api/agenda").status_code == 401
    assert phone.post("/look", {"tree": phone.tree("Elm 1"), **LOOK}).status_code == 401
    assert phone.get("/demo/").headers["location"] == "/pair"
    assert phone.looks() == []
    way_in = phone.get("/pair")
    assert way_in.status_code == 200 and phone.get("/static/bench.css").status_code == 200
    assert "Garden" not in way_in.text and "/trees" not in way_in.text  # nor is anything told of it


def test_a_code_pairs_one_device_once(home: tuple[Phone, Devices]) -> None:
    phone, devices = home
    code = devices.new_code()
    answer = phone.post("/pair", {"code": f"{code[:4]} {code[4:]}", "name": "my phone"})
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=lax" in cookie and "Path=/" in cookie
    assert phone.get("/more").status_code == 200
    assert [d.name for d in devices.listed()] == ["my phone"]
    kept = (phone.folder / "devices.json").read_text()
    assert phone.client.cookies["flushcast"] not in kept and len(phone.client.cookies["flushcast"]) >= 43
    assert (phone.folder / "devices.json").stat().st_mode & 0o077 == 0
    phone.client.cookies.clear()
    assert phone.post("/pair", {"code": code}).status_code == 422


def test_a_code_gets_old_and_is_void_after_a_few_guesses(home: tuple[Phone, Devices], clock: Clock) -> None:
    phone, devices = home
    code = devices.new_code()
    clock.now = 601
    assert "No code is open" in words(phone.post("/pair", {"code": code}))
    code = devices.new_code()
    wrong = "00000000" if code != "00000000" else "11111111"
    for _ in range(TRIES):
        assert phone.post("/pair", {"code": wrong}).status_code == 422
    assert "No code is open" in words(phone.post("/pair", {"code": code}))
    assert devices.listed() == []


def test_devices_are_listed_and_taken_out(home: tuple[Phone, Devices]) -> None:
    phone, devices = home
    phone.post("/pair", {"code": devices.new_code(), "name": "old phone"})
    assert "old phone" in words(phone.get("/devices"))
    (one,) = devices.listed()
    phone.post("/devices/revoke", {"device": one.id})
    assert phone.get("/more").headers["location"] == "/pair"


def test_a_paired_device_brings_in_another_and_a_program(home: tuple[Phone, Devices]) -> None:
    phone, devices = home
    phone.post("/pair", {"code": devices.new_code(), "name": "first"})
    page = phone.post("/devices/code")
    assert "<svg" in page.text
    shown = phone.post("/devices/key", {"name": "shed lights"}).text
    key = shown.partition('<pre tabindex="0">')[2].partition("</pre>")[0]
    phone.client.cookies.clear()
    assert phone.get("/more").status_code == 303
    assert phone.get("/more", headers={"authorization": f"Bearer {key}"}).status_code == 200
    assert phone.get("/more", headers={"authorization": f"Bearer {key}x"}).status_code == 303


def test_behind_a_proxy_the_cookie_is_for_https_and_the_prefix(phone: Phone, clock: Clock) -> None:
    serving = Serving(phone.folder, 8420, behind="trees.example", prefix="/garden")
    devices = Devices(phone.folder, clock, lambda: date(2026, 7, 25))
    behind = Phone(phone.folder, serving.reach, devices, "https://trees.example")
    cookie = behind.post("/garden/pair", {"code": devices.new_code()}).headers["set-cookie"]
    assert "Secure" in cookie and "Path=/garden" in cookie


def test_the_calendar_has_a_secret_address_that_can_be_taken_away(home: tuple[Phone, Devices]) -> None:
    phone, devices = home
    phone.post("/pair", {"code": devices.new_code()})
    assert phone.get("/calendar/x.ics").status_code == 404
    phone.post("/devices/calendar")
    address = f"/calendar/{devices.calendar_secret()}.ics"
    phone.client.cookies.clear()  # a calendar program carries none
    found = phone.get(address)
    assert found.status_code == 200 and found.text.startswith("BEGIN:VCALENDAR")
    devices.set_calendar(on=False)
    assert phone.get(address).status_code == 404


def test_a_list_of_devices_that_cannot_be_read_lets_nobody_in(home: tuple[Phone, Devices]) -> None:
    phone, devices = home
    phone.post("/pair", {"code": devices.new_code()})
    (phone.folder / "devices.json").write_text("{")
    assert phone.get("/more").headers["location"] == "/pair"


def test_lan_says_what_it_is(tmp_path: Path, monkeypatch) -> None:
    from tests.reports.bench import new_bench

    monkeypatch.setattr("reports.web.app.home_address", lambda: "192.168.1.5")
    monkeypatch.setattr("reports.web.app.serve", lambda *_: None)
    answer = new_bench(tmp_path / "garden").does("serve", "--lan")
    assert "http://192.168.1.5:8420/" in answer.out and "plain HTTP" in answer.words
    assert "Code to pair a device" in answer.out and "\N{FULL BLOCK}" in answer.out
