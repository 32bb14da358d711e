"""The garden in a real browser: begun, looked at, offline, stale, paired; axe on every page, both schemes."""

from __future__ import annotations

import shutil
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path

import pytest
import uvicorn

from reports.web.app import make_app
from reports.web.devices import Devices
from reports.web.safety import Reach
from tests.reports.browser import chromium
from tests.reports.demo import demo_folder
from tests.reports.web.site import Phone
from tests.reports.web.test_site import ASKED, NO_PAGE, filled_in
from tests.reports.web.test_writing import a_photo

pytestmark = pytest.mark.slow
SIZE = {"width": 390, "height": 844}


@contextmanager
def serving(folder: Path, reach: Reach | None = None, devices: Devices | None = None) -> Iterator[str]:
    """The garden on a port of this computer."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        app = make_app(folder, reach, devices)
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False, proxy_headers=False))
        thread = threading.Thread(target=lambda: server.run(sockets=[listening]), daemon=True)
        thread.start()
        try:
            yield f"http://127.0.0.1:{listening.getsockname()[1]}"
        finally:
            server.should_exit = True
            thread.join(10)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An invented garden of its own."""
    return Path(shutil.copytree(demo_folder(), tmp_path / "demo"))


def test_begun_looked_at_undone_offline_stale_and_with_a_photo(tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setenv("FLUSHCAST_TODAY", "2026-06-14")
    garden = tmp_path / "garden"
    phone = Phone(garden)
    with chromium() as browser, serving(garden) as base:
        context = browser.new_context(viewport=SIZE)
        page, said = context.new_page(), []
        page.on("console", lambda line: said.append(line.text) if line.type == "error" else None)
        page.goto(base)
        page.fill("#town", "Reykjavik")
        page.fill("#trees", "Korean hornbeam\ntrident maple")
        page.click("text=Make the garden")
        page.locator("select").first.select_option("extending")
        page.click("text=To the forecast")
        page.wait_for_url(f"{base}/")
        assert [str(look.stage) for look in phone.looks()] == ["extending"]

        page.click("nav.pages >> text=Look")  # three taps: tree, stage, save
        page.click("text=Trident maple")
        page.check("input[value=extending]")
        page.click("summary")
        for _ in range(3):
            page.click("text=+1 leaf")
        page.click("text=Next shoot")
        page.click("text=+1 leaf")
        page.set_input_files("#photo", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": a_photo()})
        page.click(".save button")
        page.wait_for_url("**/saved/**")
        page.wait_for_selector("text=lengthening")  # what moved has come in by itself
        assert {look.leaves for look in phone.looks()} == {None, "3,1"}
        assert len(list((garden / "photos").iterdir())) == 1
        page.click("text=Undo")
        page.wait_for_selector("text=Took back")
        assert len(phone.looks()) == 1

        tree = phone.tree("Trident maple")
        page.goto(f"{base}/look?tree={tree}")  # the connection is lost, and comes back
        page.check("input[value=extending]")
        page.click("summary")
        page.set_input_files("#photo", {"name": "b.jpg", "mimeType": "image/jpeg", "buffer": a_photo()})
        context.set_offline(True)
        page.click(".save button")
        page.wait_for_selector("text=No connection")
        assert len(phone.looks()) == 1
        context.set_offline(False)
        page.wait_for_selector("text=has been sent")
        assert len(phone.looks()) == 2
        photos = {path.stem for path in (garden / "photos").iterdir()}
        assert len(photos & {look.id for look in phone.looks()}) == 1  # its photo came along
        page.goto(f"{base}/trees")
        assert len(phone.looks()) == 2  # and is sent once

        page.goto(f"{base}/look?tree={tree}")  # somebody else is faster
        page.check("input[value=extended]")
        phone.post("/look", {"tree": tree, "stage": "extending", "leaves": "7", "token": "99999999"})
        page.click(".save button")
        page.wait_for_selector("text=Written meanwhile")
        page.click("text=Save mine too")
        page.wait_for_url("**/saved/**")
        assert len(phone.looks()) == 4
        assert not [line for line in said if "409" not in line and "ERR_INTERNET" not in line]


def test_without_scripts_a_look_is_written_down_all_the_same(folder: Path) -> None:
    phone = Phone(folder)
    before = len(phone.looks())
    with chromium() as browser, serving(folder) as base:
        page = browser.new_context(viewport=SIZE, java_script_enabled=False).new_page()
        page.goto(f"{base}/look?tree={phone.tree('Maple 1')}")
        page.check("input[value=extended]")
        page.click(".save button")
        page.click("text=See how it moved")
        assert "Maple 1" in page.inner_text("main")
    assert len(phone.looks()) == before + 1


def test_without_scripts_a_notebook_and_a_reading_are_taken(folder: Path) -> None:
    phone = Phone(folder)
    before = len(phone.looks())
    rows = "date,tree,stage\n2026-06-13,Maple 1,extended\n2026-06-11,Maple 1,purple\n"
    with chromium() as browser, serving(folder) as base:
        page = browser.new_context(viewport=SIZE, java_script_enabled=False).new_page()
        page.goto(f"{base}/import")
        page.set_input_files("#file", {"name": "a.csv", "mimeType": "text/csv", "buffer": rows.encode()})
        page.click("text=Show what it becomes")
        page.wait_for_selector("text=column stage: read 'purple'")
        assert len(phone.looks()) == before
        page.click("text=Save 1 row as shown")
        page.wait_for_selector("text=Undo the import")
        assert len(phone.looks()) == before + 1
        page.click("text=Undo the import")
        page.wait_for_selector("text=Took back")
        assert len(phone.looks()) == before
        page.goto(f"{base}/readings")
        page.fill("#day", "2026-06-13")
        page.fill("#low", "8.5")
        page.fill("#high", "19")
        page.click("text=Save this day")
        page.wait_for_selector("[role=status] >> text=1 day")


def test_a_phone_is_paired_in_the_browser(folder: Path) -> None:
    devices = Devices(folder, lambda: 0.0, lambda: date(2026, 6, 14))
    with chromium() as browser, serving(folder, Reach(), devices) as base:
        page = browser.new_context(viewport=SIZE).new_page()
        page.goto(f"{base}/trees")
        assert page.url == f"{base}/pair"
        page.goto(f"{base}/pair?code={devices.new_code()}")
        page.fill("#name", "bench phone")
        page.click(".save button")
        page.goto(f"{base}/trees")
        assert page.url == f"{base}/trees" and page.locator("text=Maple 1").count() == 1


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Phone, str]]:
    """An invented garden that is only read, reckoned once, and its address."""
    folder = Path(shutil.copytree(demo_folder(), tmp_path_factory.mktemp("shown") / "demo"))
    with serving(folder) as base:
        yield Phone(folder), base


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious_and_every_page_fits_a_thumb(shown: tuple[Phone, str], scheme: str) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-core").Axe()
    phone, base = shown
    tree, token = phone.tree("Maple 1"), {"token": "abcdef01", "stage": "extended"}
    saved = phone.post("/look", {"tree": tree, **token}).headers["location"]
    paths = [filled_in(phone, p, saved.rpartition("/")[2]) for p in ASKED if p not in NO_PAGE]
    wrong: dict[str, object] = {}
    with chromium() as browser:
        page = browser.new_context(viewport=SIZE, color_scheme=scheme, bypass_csp=True).new_page()
        for path in [*paths, f"/look?tree={tree}", f"/work?tree={tree}"]:
            assert page.goto(base + path).status == 200
            for one in axe.run(page).response["violations"]:
                if one["impact"] in ("serious", "critical"):
                    wrong[f"{path} {one['id']}"] = [node["html"] for node in one["nodes"][:3]]
            if page.evaluate("document.documentElement.scrollWidth") > SIZE["width"]:
                wrong[f"{path} is wider than the phone"] = True
            small = page.evaluate(
                """[...document.querySelectorAll('a, button, input, select, textarea, summary')].filter(e => {
                  const box = e.getBoundingClientRect();
                  return box.width && box.height && box.height < 43.5 && !e.closest('p, label, .embedded');
                }).map(e => e.outerHTML.slice(0, 90))"""
            )
            if small:
                wrong[f"{path} has targets under 44 px"] = small
    assert wrong == {}
