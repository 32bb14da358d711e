"""`flushcast report`: one file, no network, readable on a phone, on paper, in the dark."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache
from html.parser import HTMLParser

import pytest

from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.advice.agenda import make_agenda
from phenology.advice.garden_forecast import forecast_garden
from phenology.model.track_record import TrackRecord
from phenology.weather.series import DailyWeather
from reports.page.content import tree_cards
from reports.page.coverage import weather_of
from reports.page.drawings import Span, window_drawing
from reports.page.render import report_html
from reports.text.care_text import care_of
from tests.reports.bench import Bench, new_bench
from tests.reports.browser import chromium
from tests.reports.demo import DAY, demo_folder, demo_past, own_demo
from tests.reports.opened import read_garden

NOON = datetime(2026, 6, 14, 12, tzinfo=UTC)
VOID = {"meta", "br", "link", "img", "hr"}
TREES = ("Beech", "Crab apple", "Hornbeam 1", "Azalea")
WIDTHS = (390, 820, 1440)

KINDS = ("likely", "look", "seen", "notyet", "late", "today")


@cache
def page():
    garden, settings = read_garden(demo_folder(), DAY)
    few = [tree for tree in garden.trees if tree.label in TREES]  # looking back on all takes seconds
    return report_html(demo_folder(), replace(garden, trees=few), settings)


class Tags(HTMLParser):
    """Which tags are left open, which attributes point elsewhere, and every id."""

    def __init__(self):
        super().__init__()
        self.open, self.targets, self.ids, self.wrong, self.labels = [], [], [], [], []

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.targets += [v for k, v in attrs if k in ("src", "href", "xlink:href", "action")]
        self.ids += [given["id"]] if "id" in given else []
        self.labels += [given["aria-labelledby"]] if "aria-labelledby" in given else []
        if tag == "svg" and "aria-label" not in given and given.get("aria-hidden") != "true":
            self.wrong.append("a drawing without words")
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        if not self.open or self.open.pop() != tag:
            self.wrong.append(f"</{tag}>")


def read(html):
    tags = Tags()
    tags.feed(html)
    return tags


def test_tags_close_ids_are_unique_and_every_drawing_has_words():
    tags = read(page())
    assert not tags.wrong and not tags.open
    assert len(tags.ids) == len(set(tags.ids)) and set(tags.labels) <= set(tags.ids)


def test_nothing_is_fetched_and_nothing_runs():
    targets = read(page()).targets
    assert targets and all(target.startswith("#") for target in targets)
    assert "default-src 'none'" in page()
    assert not re.search(r"<script|<link|@import|url\((?!#)| on\w+=", page())


def test_it_is_small():
    assert len(page().encode()) < 300_000


def test_every_tree_is_there_with_its_window_and_what_to_do():
    for part in ("On the benches now", "Next", "This season against past ones", "Before you cut"):
        assert part in page()
    assert page().count('<svg class="window"') == page().count('<article class="tree">') == len(TREES)
    assert "hard probably already" in page()
    assert "days off on average" in page()


def test_the_picture_shades_the_range_that_the_words_name():
    garden, _ = read_garden(demo_folder(), DAY)
    agenda = make_agenda(forecast_garden(garden))
    steps = (step for card in tree_cards(agenda)[0] for step in card.steps)
    step = next(step for step in steps if step.arrival is not None)
    span = Span.around(garden.as_of)
    svg, kinds = window_drawing(step, span, "words")
    assert kinds == {kind for kind in KINDS if f'class="{kind}"' in svg} > {"likely", "today"}
    at = [float(x) for x in re.findall(r'class="likely" x="([\d.]+)"', svg)]
    strength = [float(o) for o in re.findall(r'fill-opacity="([\d.]+)"', svg)]
    middle = span.at(step.date_at(0.5))
    assert min(at) <= middle <= max(at)
    assert abs(at[strength.index(max(strength))] - middle) <= 6
    assert at == sorted(at) and len(set(at)) == len(at)


def test_attributions_of_the_weather_are_shown_and_names_are_escaped(tmp_path):
    folder = own_demo(tmp_path)
    garden, settings = read_garden(folder, DAY)
    with WeatherStore.open(folder) as store:
        late = DailyWeather(DAY, [9.3], [21.7], "station")
        line = "Weather <data> by the Office of Invention"
        store.add(garden.places[0].id, late, Origin("file", "x", line), fetched_at=NOON, prefer=True)
    assert line in weather_of(folder, garden)[0].attributions
    html = report_html(folder, garden, settings, look_back=False)
    assert "Weather &lt;data&gt; by the Office" in html and "<data>" not in html
    assert "How good past forecasts were" not in html


def test_a_new_garden_says_what_is_missing(tmp_path):
    bench = new_bench(tmp_path / "new")
    told = bench.does("report", "--out", tmp_path / "r.html").words
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    for words in (told, page):
        assert "No weather yet: dates rest on the usual warmth of latitude" in words
    assert "No weather yet: its warmth is not known." in page


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_text_stands_out_from_its_ground(theme):
    """At least 4.5 to 1, the ratio that WCAG 2 asks of text (w3.org/TR/WCAG22, 1.4.3)."""
    blocks = re.findall(r":root \{([^}]*--ink[^}]*)\}", page())
    colours = dict(re.findall(r"--(\w+): (#\w{6})", blocks[theme == "dark"]))

    def light(colour):
        parts = [int(colours[colour][k : k + 2], 16) / 255 for k in (1, 3, 5)]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    for text in ("ink", "soft"):
        for ground in ("paper", "card"):
            low, high = sorted((light(text), light(ground)))
            assert (high + 0.05) / (low + 0.05) >= 4.5, (text, ground)


def test_a_browser_shows_it_whole_at_every_width_and_asks_nobody(tmp_path):
    path = tmp_path / "r.html"
    path.write_text(page(), encoding="utf-8")
    asked, said = [], []
    with chromium() as browser:
        for width in WIDTHS:
            for scheme in ("light", "dark"):
                view = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
                view.on("request", lambda request: asked.append(request.url))
                view.on("console", lambda message: said.append(message.text))
                view.goto(path.as_uri())
                assert view.evaluate("document.documentElement.scrollWidth") == width
                dark = view.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(20, 25, 37)"
                assert dark == (scheme == "dark")
                assert view.evaluate(
                    "Array.from(document.querySelectorAll('svg.window')).every(s => s.clientHeight > 20)"
                )
        view.emulate_media(media="print")
        assert view.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        assert view.pdf(format="A4").startswith(b"%PDF") and view.pdf(format="Letter").startswith(b"%PDF")
    assert set(asked) == {path.as_uri()} and not said


def test_the_command_writes_the_file_and_says_so(tmp_path):
    bench = Bench(demo_folder(), today=DAY.isoformat())
    said = bench.does("report", "--out", tmp_path / "r.html", "--no-look-back").err
    assert "Wrote" in said and (tmp_path / "r.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def care_on(bench: Bench, day: date):
    return care_of(make_agenda(forecast_garden(read_garden(bench.folder, day)[0])))


def test_care_after_work_is_told_while_it_is_due(tmp_path):
    bench = Bench(own_demo(tmp_path), today=DAY.isoformat())
    bench.does("work", "crab apple", "cutback", "--date", "2026-06-12")
    told = care_on(bench, DAY)
    mine = [words for trees, words in told if "Crab apple" in trees]
    assert mine and all(words.endswith(").") for words in mine)
    later = care_on(bench, date(2026, 8, 12))
    assert not any("Crab apple" in trees for trees, _ in later)


def test_the_report_trusts_as_the_forecast_does_and_shares_what_compare_keeps(tmp_path):
    bench = Bench(own_demo(tmp_path), today=str(DAY))
    bench.does("compare")  # keeps how past forecasts did
    out = bench.folder / "report.html"
    told = bench.does("report", "--out", out)
    assert "Looking back" not in told.err
    within = r"usually within (\d+) days"
    forecast = " ".join(bench.does("forecast").out.split())
    told_here, told_there = re.findall(within, forecast), re.findall(within, out.read_text())
    assert told_here and all(told_there.count(days) >= told_here.count(days) for days in set(told_here))
    records = TrackRecord.of(demo_past()).values()
    table = re.findall(r"<td>(\d+) days</td><td>(\d+) days</td>", out.read_text())
    kept = [(str(round(r.missed)), str(round(r.usual_missed))) for r in records]
    assert sorted(table) == sorted(kept)
