"""`flushcast compare --page`: one file with pictures, whole offline, readable on paper and in the dark."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest

from phenology.model.track_record import first_hardenings
from phenology.seasons.compare import compare_seasons
from phenology.seasons.tree_stages import StageDate
from reports.page.compare_page import TREES_SHOWN, compare_html
from reports.page.drawings import REACH_MOST, Around, flush_drawing, lead_drawing, lead_reach
from reports.views.compare import Compared
from tests.reports.bench import Bench
from tests.reports.browser import chromium
from tests.reports.demo import DAY, demo_folder, demo_past
from tests.reports.opened import read_garden

FEW = ("Beech", "Hornbeam 1", "Hornbeam 2")
YEAR = Around([31.0, 59.0])


def page_of(day=DAY, labels=FEW, units="C", south=False, back=False):
    garden, settings = read_garden(demo_folder(day, south, labels), day)
    look_back = (lambda: first_hardenings(demo_past(labels))) if back else None
    return compare_html(Compared(compare_seasons(garden), units, look_back), settings.name)


@cache
def page():
    return page_of(back=True)


def text(html):
    return " ".join(re.sub(r"<[^>]+>", " ", html.split("</style>")[1]).split())


def numbers(svg, tag, attribute):
    return [float(v) for v in re.findall(rf'<{tag} [^>]*{attribute}="([-\d.]+)"', svg)]


def test_the_page_tells_all_parts():
    heads = re.findall(r"<h2[^>]*>([^<]+)", page())
    assert heads == ["Warmth", "Frosts", "When each stage came", "Forecasts against what came",
                     "Work, and what followed", "Trends", "Where the numbers come from"]  # fmt: skip
    assert "5 days ahead of usual" in text(page()) and "31 Mar so far" in text(page())


def test_nothing_is_fetched_and_nothing_runs():
    assert not re.search(r"<script|<link|@import|url\((?!#)| on\w+=|src=", page())
    assert "default-src 'none'" in page()


def test_every_drawing_has_words_that_tell_its_dates():
    words = re.findall(r'<svg class="strip"[^>]*aria-label="([^"]+)"', page())
    assert len(words) == 6 + 5 + 5  # leads of six seasons, flushes of two species in five
    assert any(re.match(r"2025: bud break \d+ Apr, extended \d+ May, hardened \d+ May", w) for w in words)


def test_trees_of_a_species_stand_folded_below_it():
    assert page().count("<details>") == 1 and text(page()).count("Tree by tree") == 1
    folded = page().split("<details>")[1].split("</details>")[0]
    assert "<h4>Hornbeam 1</h4>" in folded and "<h4>Hornbeam 2</h4>" in folded and "Beech" not in folded


def test_a_nursery_is_told_by_species():
    garden, _ = read_garden(demo_folder(), DAY)
    one = next(t for t in garden.trees if t.label == "Beech")
    many = [replace(one, id=f"{one.id}-{n}", label=f"Beech {n}") for n in range(TREES_SHOWN + 1)]
    looks = [replace(v, id=f"{v.id}-{n}", tree_id=f"{v.tree_id}-{n}", flush_id=f"{v.flush_id}-{n}")
             for v in garden.looks if v.tree_id == one.id for n in range(len(many))]  # fmt: skip
    flushes = [replace(f, id=f"{f.id}-{n}", tree_id=f"{f.tree_id}-{n}", work_id=None)
               for f in garden.flushes if f.tree_id == one.id for n in range(len(many))]  # fmt: skip
    nursery = replace(garden, trees=many, looks=looks, flushes=flushes, works=[])
    html = compare_html(Compared(compare_seasons(nursery), "C"), "x")
    assert "<details>" not in html and "flushcast compare --tree NAME" in html
    assert "and 53 more" in html and len(html) < 200_000


def test_degree_days_and_base_follow_the_units():
    celsius, fahrenheit = text(page_of()), text(page_of(units="F"))
    assert "above 5 °C" in celsius and "above 41 °F" in fahrenheit
    heat = re.search(r"2025 (\d+) 2", celsius), re.search(r"2025 ([\d,]+) 2", fahrenheit)
    assert heat[0] and heat[1]
    assert float(heat[1][1].replace(",", "")) == pytest.approx(1.8 * float(heat[0][1]), abs=1)


def test_a_garden_nobody_has_looked_at_says_so():
    garden, settings = read_garden(demo_folder(), DAY)
    bare = replace(garden, looks=[], flushes=[], works=[])
    html = text(compare_html(Compared(compare_seasons(bare), "C", list), settings.name))
    assert "No stage was seen" in html and "no finished flushes" in html


def test_in_winter_the_page_claims_no_lead():
    html = text(page_of(date(2026, 1, 20)))
    assert "too cool a time of year" in html and "nothing to say yet" in html


def test_leads_are_drawn_up_for_ahead_and_down_for_behind():
    ahead = np.full(101, np.nan)
    ahead[40:60], ahead[80:101] = 5.0, -5.0
    shapes = re.findall(r'<polygon class="lead" points="([^"]+)"', lead_drawing(ahead, 10.0, YEAR, "w"))
    heights = [[float(p.split(",")[1]) for p in shape.split()] for shape in shapes]
    assert len(shapes) == 2 and min(heights[0]) < 10 == max(heights[0]) and max(heights[1]) > 10


def test_long_leads_of_autumn_do_not_flatten_the_rest():
    assert lead_reach(compare_seasons(read_garden(demo_folder(), DAY)[0])) == REACH_MOST


def test_a_flush_is_drawn_from_bud_break_over_extended_to_hard():
    days = {"budbreak": 100.0, "extended": 130.0, "hardened": 160.0}
    stages = [
        StageDate(species="s", flush=1, stage=stage, season=2025, date=DAY, day=day)
        for stage, day in days.items()
    ]
    svg = flush_drawing(stages, Around([], 95.0, 300.0, (165.0,), None), "w")
    assert numbers(svg, 'rect class="lengthening"', "x") == [100.0]
    assert numbers(svg, 'rect class="hardening"', "width") == [30.0]
    assert numbers(svg, 'line class="hard"', "x1") == [160.0]
    assert numbers(svg, 'rect class="late"', "width") == [95.0, 67.0]  # frost at both ends
    assert "wedge" in svg and "today" not in svg


def test_a_first_frost_after_new_year_hatches_nothing():
    assert "late" not in flush_drawing([], Around([], None, 380.0), "w")


def test_the_command_writes_it_and_a_browser_shows_it_whole(tmp_path):
    bench = Bench(demo_folder(), today=DAY.isoformat())
    path = tmp_path / "seasons.html"
    assert "Wrote" in bench.does("compare", "--page", path).err
    asked, said = [], []
    with chromium() as browser:
        for width in (390, 820, 1440):
            for scheme in ("light", "dark"):
                view = browser.new_page(viewport={"width": width, "height": 900}, color_scheme=scheme)
                view.on("request", lambda request: asked.append(request.url))
                view.on("console", lambda message: said.append(message.text))
                view.goto(path.as_uri())
                view.locator("summary").first.click()
                assert view.locator("details h4").first.is_visible()
                assert view.evaluate("document.documentElement.scrollWidth") == width
                assert view.evaluate(
                    "Array.from(document.querySelectorAll('svg.strip')).every(s => s.clientHeight > 20 && "
                    "s.clientWidth > 120)"
                )
        view.emulate_media(media="print")
        assert view.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        assert view.pdf(format="A4").startswith(b"%PDF") and view.pdf(format="Letter").startswith(b"%PDF")
    assert set(asked) == {path.as_uri()} and not said


def test_a_days_weather_more_changes_no_finished_season():
    """Only what came by the day asked about is told."""
    garden, _ = read_garden(demo_folder(), DAY)
    earlier = garden.up_to(DAY - timedelta(days=30))
    frosts = [(f.season, f.last, f.first) for f in compare_seasons(earlier, [2022, 2023]).frosts]
    assert frosts == [(f.season, f.last, f.first) for f in compare_seasons(garden, [2022, 2023]).frosts]
