"""The report in unusual gardens: what it shows, and what it must not."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date
from html import unescape

import numpy as np
import pytest

from phenology.advice.agenda import make_agenda
from phenology.advice.garden_forecast import forecast_garden
from phenology.heat.clocks import HEAT_CLOCKS
from phenology.model.units import c_to_f
from phenology.weather.series import DailyWeather
from reports.charts.heat_curve import describe_heat_curve
from reports.page.content import tree_cards
from reports.page.drawings import Span, heat_curve_drawing, window_drawing
from reports.page.render import report_html
from reports.text.forecast_text import forecast_text
from tests.reports.bench import Bench
from tests.reports.demo import demo_folder, own_demo
from tests.reports.opened import read_garden
from tests.reports.page_checks import tree_of
from tests.reports.pages import CROWD, DAY, PAGES, crowd, demo, sheltered, unseen


def windows(garden):
    """Drawings of all windows of a garden."""
    agenda = make_agenda(forecast_garden(garden))
    span = Span.around(garden.as_of)
    steps = [step for cards in tree_cards(agenda) for card in cards for step in card.steps]
    return [window_drawing(step, span, "words")[0] for step in steps]


@pytest.mark.slow
def test_trees_whose_words_give_no_date_get_dots_and_no_curve():
    garden, _ = demo(date(2026, 1, 20))
    dated, undated = windows(garden), windows(sheltered(garden))
    assert len(dated) == len(undated) == 12
    assert all('class="likely"' in svg and 'class="look"' not in svg for svg in dated)
    assert all('class="look"' in svg and 'class="likely"' not in svg for svg in undated[:6])
    assert not any('class="likely"' in svg or 'class="stop"' in svg for svg in undated)


def test_a_guess_is_drawn_as_wide_as_it_is():
    garden, _ = demo(date(2026, 1, 20))
    learned, guessed = (agenda_rows(one) for one in (garden, unseen(garden)))
    for label, row in guessed.items():
        assert row.ahead.guess and width(row) > width(learned[label])
    assert all('class="likely"' in svg and 'class="look"' not in svg for svg in windows(unseen(garden)))


def agenda_rows(garden):
    return {row.tree.label: row for row in make_agenda(forecast_garden(garden)).rows}


def width(row):
    return (row.ahead.date_at(0.9) - row.ahead.date_at(0.1)).days


def test_the_words_of_undated_trees_name_no_range():
    cards = re.findall(r'<article class="tree">.*?</article>', PAGES["sheltered"](), flags=re.DOTALL)
    assert cards and all("look weekly from" in card for card in cards)
    assert not any(" about " in card or "Trust" in card for card in cards)


def test_measured_weather_and_forecast_both_have_an_end():
    text = PAGES["busy"]()
    assert "Weather to Sun 14 Jun, a forecast to Tue 23 Jun, then 30 past years as they might run." in text
    assert "no day missing. Then a forecast to Tue 23 Jun 2026." in text
    assert "Cellar &lt;north&gt; &amp; steps" in text and "No weather yet" in text


def test_the_season_is_that_of_the_place_where_the_trees_stand():
    assert "since the season began at Larkfield benches" in PAGES["busy"]()


def test_work_done_asks_for_care_and_late_wire_for_a_look_now():
    care = PAGES["busy"]().split('<h2 id="care">')[1].split("</section>")[0]
    assert "<strong>Crab apple" in care and "(until" in care
    now = PAGES["busy"]().split('<h2 id="now">')[1].split("</section>")[0]
    assert "wire on this year's shoots" in now.replace("&#39;", "'").lower()


def test_every_figure_leads_to_how_it_is_reckoned():
    root = tree_of(PAGES["busy"]())
    led = {a.get("href") for a in root.iter("a")}
    told = {f"#{h.get('id')}" for h in root.iter("h3") if (h.get("id") or "").startswith("how-")}
    assert {"#how-window", "#how-trust", "#how-waiting", "#how-stop", "#how-season", "#how-care",
            "#how-weather"} <= led <= told | {a for a in led if not a.startswith("#how-")}  # fmt: skip
    for section in root.iter("section"):
        named = section.get("aria-labelledby")
        if named != "how":
            assert any((a.get("href") or "").startswith("#how-") for a in section.iter("a")), named


def test_a_hardly_measured_season_tells_no_warmth():
    garden, settings = demo()
    series = garden.weather[garden.places[0].id]
    tmin = series.tmin.copy()
    tmin[series.index(date(2024, 2, 1)) : series.index(date(2024, 6, 1))] = np.nan
    holed = DailyWeather(series.first_day, tmin, series.tmax, series.source)
    garden = replace(garden, weather={garden.places[0].id: holed})
    html = report_html(demo_folder(), garden, settings, look_back=False)
    row = re.search(r'<tr><th scope="row">2024</th>(.*?)</tr>', html)[1]
    assert re.findall(r"<td>(.*?)</td>", row) == [".", ".", ""]
    assert "Too little weather was measured to tell the warmth of 2024." in html
    assert "Too little weather" not in report_html(demo_folder(), *demo(), look_back=False)


@pytest.mark.slow
def test_in_late_november_the_report_says_what_the_forecast_says():
    garden, settings = demo(date(2026, 11, 28))
    forecast = forecast_text(make_agenda(forecast_garden(garden)), 10_000)
    told = [line for line in forecast.splitlines() if "next bud break" in line]
    html = unescape(report_html(demo_folder(date(2026, 11, 28)), garden, settings, look_back=False))
    page = html.split('<h2 id="next">')[1].split("</section>")[0]
    assert len(told) > 3
    for line in told:  # in sentences on the page, in clauses on a terminal
        date_and_range = line.split("next bud break ")[1].split(";")[0].rstrip(".")
        assert f"ext bud break {date_and_range}" in page
    assert "Nothing more in the coming months" not in html


def test_a_tree_without_dates_is_told_on_the_page_too(tmp_path):
    bench = Bench(own_demo(tmp_path), today=str(DAY))
    bench.does("look", "beech", "hardened", "--date", "2026-06-10")
    bench.does("work", "beech", "cutback", "--date", "2026-06-12")
    garden, settings = read_garden(bench.folder, DAY)
    forecast = forecast_text(make_agenda(forecast_garden(garden)), 10_000)
    said = [line for line in forecast.splitlines() if "not taken for granted" in line]
    html = unescape(report_html(bench.folder, garden, settings, look_back=False))
    assert said and all(f"<p>{line}</p>" in html for line in said)


@pytest.mark.slow
def test_alike_trees_share_a_card_and_each_has_its_picture():
    html = PAGES["crowd"]()
    cards = html.count('<article class="tree">')
    assert cards <= 12 < html.count('class="window"') == CROWD - CROWD // 12  # Quince 2 is only built
    assert "Crab apple and 24 alike" in html
    labels = re.findall(r'<p class="whose">(Crab apple[^<]*)</p>', html)
    assert labels[:3] == ["Crab apple", "Crab apple of row 2", "Crab apple of row 3"]


def test_a_crowd_is_what_it_says():
    garden, _ = demo()
    many = crowd(garden, 30)
    assert len(many.trees) == 30 == len({tree.id for tree in many.trees})
    assert len(many.looks) == 3 * len(garden.looks)


def test_the_price_of_waiting_is_drawn_where_a_cut_may_come_within_three_weeks():
    garden, _ = demo()
    now, later = tree_cards(make_agenda(forecast_garden(garden)))
    assert any(card.waiting for card in now)
    for card in (*now, *later):
        if card.waiting:
            today, fortnight, three_weeks = (percent for _, percent, _ in card.waiting)
            assert 99 >= today >= fortnight >= three_weeks >= 1
            assert min((step.look_on - DAY).days for step in card.steps) <= 21
    assert not any(card.waiting for card in later if (card.steps[0].look_on - DAY).days > 21)


@pytest.mark.parametrize("name", ["no trees", "one tree", "short of weather", "without weather"])
def test_little_gardens_say_what_is_missing(name):
    html = PAGES[name]()
    if name == "no trees":
        assert "The garden has no trees yet" in html and "0 past years" not in html
    if name == "one tree":
        assert html.count('class="window"') == 1
    if name == "short of weather":
        assert "1 past season pale" in html and "too few past seasons of weather" in html
        assert "Only 1 year of weather, to 14 Jun: dates rest on that and the usual warmth" in html
    if name == "without weather":
        assert "No weather yet: dates rest on the usual warmth of latitude" in html
        assert "No weather yet: its warmth is not known." in html and 'class="window"' in html


def test_fahrenheit_gardens_are_told_fahrenheit():
    html = PAGES["fahrenheit"]()
    assert "degree-days above 41\u00a0°F" in html and "steady 64\u00a0°F" in html
    assert "°C" not in html


def test_the_heat_curves_all_meet_at_one_day():
    svg, below, beside = heat_curve_drawing("words")
    curves = re.findall(r'<polyline class="(\w+)" points="([^"]+)"', svg)
    assert len(curves) == len(HEAT_CLOCKS) and {kind for kind, _ in curves} == {"rising", "falling"}
    one = next(label.at for label in beside if label.text == "1")
    for _, points in curves:
        at_18 = [float(y) for x, y in (p.split(",") for p in points.split()) if abs(float(x) - 39.1) < 0.06]
        assert at_18 == pytest.approx([one], abs=0.1)
    assert [label.text for label in below][:3] == ["0°", "5°", "10°"]
    assert f"{c_to_f(28.0):g} °F" in describe_heat_curve("F")


def test_in_winter_no_days_ahead_are_told():
    table = PAGES["winter"]().split('<h2 id="season">')[1].split("</table>")[0]
    assert "degree-days<br>" in table and "days ahead<br>" not in table
