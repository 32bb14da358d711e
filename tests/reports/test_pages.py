"""Every page in every state: valid, accessible, whole at every width, with and without scripts, offline."""

from __future__ import annotations

import re
from importlib import resources

import pytest

from tests.reports.browser import asking_nobody, chromium
from tests.reports.page_checks import tree_of, wrongs
from tests.reports.pages import CROWD, PAGES, TEMPLATES

WIDTHS = (390, 820, 1440)
IN_A_BROWSER = [*TEMPLATES.values(), "unseen", "busy", "no trees"]  # the other states hold the same parts
A_BAD_PAGE = """<!DOCTYPE html><html><head><title></title></head><body><header></header>
<h2 id="a">x</h2><h4></h4><section></section><svg></svg><img src="x"><a href="#gone"></a><p id="a"></p>
<table><tr><th>x</th></tr></table>
</body></html>"""


@pytest.fixture(scope="module")
def browser():
    with chromium() as running:
        yield running


@pytest.mark.slow
@pytest.mark.parametrize("name", PAGES)
def test_a_strict_parser_finds_nothing_wrong(name):
    assert wrongs(tree_of(PAGES[name]())) == []


def test_the_checks_can_fail():
    found = " / ".join(wrongs(tree_of(A_BAD_PAGE)))
    for part in ("id a stands 2 times", "#gone", "no language", "no title", "0 of main", "section without",
                 "h4 after h2", "an empty h4", "drawing without", "picture without", "link without",
                 "do not say whether"):  # fmt: skip
        assert part in found, part


def test_a_strict_parser_stops_at_bad_syntax():
    with pytest.raises(Exception, match=r"unexpected|expected"):
        tree_of("<!DOCTYPE html><html><head><title>x</title></head><body><p><div></p></div></body></html>")


def test_every_template_of_a_page_is_among_them():
    folder = resources.files("reports").joinpath("templates")
    pages = {f.name for f in folder.iterdir() if 'extends "base.html.j2"' in f.read_text(encoding="utf-8")}
    assert pages == set(TEMPLATES)


def test_two_hundred_trees_are_one_small_page():
    html = PAGES["crowd"]()
    assert len(html.encode()) < 250_000
    shown = html.split("The season, tree by tree")[1].split("To mind")[0]
    assert shown.count('role="img"') == 8  # a row a species on its bench
    assert len(re.findall(r'<li class="line', shown)) == 8 + CROWD  # each tree behind its own


@pytest.mark.slow
@pytest.mark.parametrize(("scheme", "width"), [("light", 390), ("dark", 1440)])
def test_axe_finds_nothing_serious(browser, scheme, width):
    """axe-core 4 (Deque, MPL 2.0): its rules for WCAG 2 A and AA and good practice, contrast among them."""
    axe = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="needs axe-core (pip install axe-playwright-python)"
    ).Axe()
    found = {}
    for name in IN_A_BROWSER:
        view = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
        view.set_content(PAGES[name]())
        answer = axe.run(view).response
        assert len(answer["passes"]) > 10  # it did look
        found |= {
            (name, one["id"]): [node["html"] for node in one["nodes"][:3]]
            for one in answer["violations"]
            if one["impact"] in ("serious", "critical")
        }
        view.close()
    assert found == {}


def test_axe_can_find_something(browser):
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="needs axe-core").Axe()
    view = browser.new_page()
    view.set_content('<html lang="en"><title>x</title><p style="color:#ccc">pale</p><img src="x">')
    ids = {one["id"] for one in axe.run(view).response["violations"]}
    assert {"color-contrast", "image-alt"} <= ids


@pytest.mark.parametrize("scripts", [True, False])
def test_pages_are_whole_at_every_width_and_ask_nobody(browser, tmp_path, scripts):
    said = []
    for name in IN_A_BROWSER:
        path = tmp_path / f"{name}.html"
        path.write_text(PAGES[name](), encoding="utf-8")
        with asking_nobody(browser, path.as_uri(), java_script_enabled=scripts) as view:
            view.on("console", lambda message: said.append(message.text))
            view.goto(path.as_uri())
            for width in WIDTHS:
                view.set_viewport_size({"width": width, "height": 900})
                # without scripts the page cannot be asked: how wide its picture comes out tells
                box = view.locator("body").bounding_box()
                assert box["x"] >= 0 and box["x"] + box["width"] <= width
                if scripts:
                    assert view.evaluate("document.documentElement.scrollWidth") == width, (name, width)
    assert said == []


def test_pages_print_on_a4_and_letter(browser):
    for name in IN_A_BROWSER:
        view = browser.new_page(color_scheme="dark")
        view.set_content(PAGES[name]())
        for size in ("A4", "Letter"):
            assert view.pdf(format=size).startswith(b"%PDF")
        view.emulate_media(media="print")
        assert view.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        view.close()
