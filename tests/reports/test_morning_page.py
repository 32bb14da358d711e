"""The morning page in a real browser: the five-second test, marks that keep apart, paper, small print."""

from __future__ import annotations

import pytest

from tests.reports.browser import chromium
from tests.reports.pages import PAGES

STATES = (
    "fahrenheit", "winter", "unseen", "south", "one tree", "no trees", "short of weather", "without weather",
    "sheltered", "crowd", "busy",
)  # fmt: skip
FIRST_PIXELS = 700  # of a phone, before anybody scrolls
SMALLEST = 12.0  # px
A4 = {"width": 711, "height": 1039}  # within margins of 11 mm, at 96 px an inch

SMALL_TEXT = """least => [...document.querySelectorAll('body *')].filter(e =>
  [...e.childNodes].some(n => n.nodeType === 3 && n.data.trim()) && e.checkVisibility()
  && !e.closest('.unseen, .gone') && parseFloat(getComputedStyle(e).fontSize) < least)
  .map(e => e.textContent.trim())"""

CROSSING = """() => {
  const box = e => e.getBoundingClientRect(), out = [];
  const cross = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 0.5
    && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 0.5;
  const apart = (list, kind) => list.forEach((a, i) => list.slice(i + 1).forEach(b => {
    if (cross(box(a), box(b))) out.push(kind + ': ' + (a.textContent || a.getAttribute('class')) + ' / '
      + (b.textContent || b.getAttribute('class'))); }));
  apart([...document.querySelectorAll('.blocks li, .rows > li')].filter(e => e.checkVisibility()), 'block');
  for (const kind of ['mark', 'month']) {
    const track = document.querySelector('.axis .track');
    const labels = [...document.querySelectorAll('.axis .' + kind)];
    if (track) apart(labels.filter(e => e.checkVisibility() && cross(box(e), box(track))), kind);
  }
  for (const line of document.querySelectorAll('.line')) {
    if (line.checkVisibility()) apart([...line.children], 'line');
    const stop = line.querySelector('line.stop:not(.o)');
    if (stop && line.checkVisibility()) for (const look of line.querySelectorAll('circle'))
      if (cross(box(stop), box(look))) out.push('a look on a stop: ' + line.textContent);
  }
  return out; }"""

TOUCHING = """() => { const out = []; for (const row of document.querySelectorAll('table tr')) {
  if (!row.checkVisibility()) continue;
  const texts = [...row.children].map(c => { const r = document.createRange(); r.selectNodeContents(c);
    return [...r.getClientRects()].filter(b => b.width); });
  texts.slice(1).forEach((right, k) => { for (const b of right) for (const a of texts[k])
    if (a.right > b.left - 3 && a.bottom > b.top + 1 && b.bottom > a.top + 1)
      out.push(row.textContent.trim().replace(/\\s+/g, ' ')); }); } return out; }"""


@pytest.fixture(scope="module")
def browser():
    with chromium() as running:
        yield running


def view_of(browser, name, width=390, **options):
    view = browser.new_page(viewport={"width": width, "height": 900}, **options)
    view.set_content(PAGES[name]())
    return view


def test_five_seconds_on_a_phone(browser):
    """The first screen holds the headline and every tree of today: what to do needs no scrolling."""
    view = view_of(browser, "fahrenheit")
    bottoms = view.evaluate(
        "[...document.querySelectorAll('h1, .blocks li')].map(e => e.getBoundingClientRect().bottom)"
    )
    assert view.inner_text("h1") == f"Sunday 14 June: look at {len(bottoms) - 1}"
    assert len(bottoms) == 7 and max(bottoms) <= FIRST_PIXELS
    before = view.inner_text("header").split()
    assert len(before) < 20 and view.locator("header a").count() == 0
    view.close()


def test_a_phone_shows_ten_weeks_and_a_desk_the_season(browser):
    view = view_of(browser, "fahrenheit")
    track, days = (
        view.locator(f".rows {part}").first.bounding_box()["width"] for part in (".track", ".days")
    )
    assert days / track == pytest.approx(4.0, abs=0.3)  # forty weeks of which ten show
    view.set_viewport_size({"width": 1440, "height": 900})
    track, days = (
        view.locator(f".rows {part}").first.bounding_box()["width"] for part in (".track", ".days")
    )
    assert days == pytest.approx(track)
    view.close()


def test_parts_one_to_four_fit_one_sheet_with_boxes_to_write_in(browser):
    view = view_of(browser, "fahrenheit", color_scheme="dark")
    view.emulate_media(media="print")
    view.set_viewport_size(A4)
    assert view.evaluate("document.querySelector('.sheet').getBoundingClientRect().bottom") <= A4["height"]
    boxes = view.locator(".blocks .box:not(.note)")
    assert boxes.count() == 6 and all(boxes.nth(k).bounding_box()["width"] > 15 for k in range(6))
    assert view.evaluate(CROSSING) == []
    view.close()


def test_compare_reads_on_a_phone_without_touching_columns(browser):
    view = view_of(browser, "seasons")
    assert view.evaluate(TOUCHING) == []
    assert view.locator("nav a").count() == 7
    assert view.evaluate(SMALL_TEXT, SMALLEST) == []
    view.close()


@pytest.mark.slow
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_nothing_is_small_and_nothing_overlaps_in_any_garden(browser, scheme):
    found = {}
    for name in STATES:
        view = view_of(browser, name, color_scheme=scheme)
        for width in (390, 820, 1440):
            view.set_viewport_size({"width": width, "height": 900})
            wrong = (view.evaluate(SMALL_TEXT, SMALLEST), view.evaluate(CROSSING))
            wide = view.evaluate("document.documentElement.scrollWidth")
            if any(wrong) or wide != width:
                found[name, width] = (*wrong, wide)
        view.emulate_media(media="print", color_scheme=scheme)
        view.set_viewport_size(A4)
        if crossing := view.evaluate(CROSSING):
            found[name, "paper"] = crossing
        view.close()
    assert found == {}
