"""A thousand trees south of the equator, in Fahrenheit: every page light, and at hand in a browser."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import expect

from reports.entries.settings import change_setting
from reports.garden.open_garden import OpenGarden
from tests.reports.browser import chromium
from tests.reports.web.many import many_trees
from tests.reports.web.site import Phone, words
from tests.reports.web.test_in_a_browser import SIZE, serving
from tests.reports.web.test_site import ASKED, NO_PAGE, filled_in

pytestmark = pytest.mark.slow
TREE = "Maple 1"
PATIENCE = 120_000  # milliseconds that a page may take on a busy computer


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The garden, its forecast made once."""
    folder = many_trees(tmp_path_factory.mktemp("many") / "garden", 1000, south=True)
    with OpenGarden(folder) as opened:
        change_setting(opened, "units", ["F"])
    yield folder


def test_every_page_is_light_and_leads_to_every_tree(garden: Path) -> None:
    phone = Phone(garden)
    tree = phone.tree(TREE)
    saved = phone.post("/look", {"tree": tree, "stage": "soft", "token": "aaaaaaaa-many"}).headers["location"]
    paths = [filled_in(phone, path, saved.rpartition("/")[2]) for path in ASKED if path not in NO_PAGE]
    more = [f"/look?tree={tree}", f"/work?tree={tree}", "/look?due=1", "/trees?page=9", "/look?q=maple"]
    more += ["/look?all=maple", "/labels?page=25", "/seasons?species=Acer+buergerianum", "/trees?page=999"]
    heavy = {}
    for path in [*paths, *more]:
        page = phone.get(path)
        assert page.status_code == 200, (path, words(page)[:300])
        if len(page.content) >= 200_000:
            heavy[path] = len(page.content)
    assert heavy == {}
    assert "2026/27" in words(phone.get("/seasons")) and "64 °F" in words(phone.get("/calibration"))
    listed = {
        part.partition('"')[0]
        for n in range(1, 18)
        for part in phone.get(f"/trees?page={n}").text.split("/trees/")
    }
    assert len({id for id in listed if id.startswith("tree-")}) == 988
    form = phone.get("/look?all=maple").text
    assert form.count('name="tree"') > 100


def test_a_tree_is_found_looked_at_and_undone_in_a_browser(garden: Path) -> None:
    phone = Phone(garden)
    before = len(phone.looks())
    with chromium() as browser, serving(garden) as base:
        page = browser.new_context(viewport=SIZE).new_page()
        page.set_default_timeout(PATIENCE)
        page.goto(base)
        assert page.locator(".todo .chips li").count() == 9
        page.click(".herd a >> nth=0")
        expect(page.locator(".rows li")).to_have_count(30, timeout=PATIENCE)
        page.click("text=The next ones")
        expect(page.locator("main")).to_contain_text("Page 2", timeout=PATIENCE)
        page.click("nav.pages >> text=Look")
        page.fill("#q", "maple 1 x")
        page.click("text=Find")
        page.click(".list a >> nth=0")
        page.check("input[value=hardened]")
        page.dblclick(".save button")
        page.wait_for_url("**/saved/**")
        page.wait_for_selector("text=And the other trees")
        assert len(phone.looks()) == before + 1
        page.click("text=Undo")
        page.wait_for_selector("text=Took back")
    assert len(phone.looks()) == before
