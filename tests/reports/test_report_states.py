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
from phenology.weather.series import DailyWeather
from reports.page.render import report_html
from reports.views.forecast_text import forecast_text
from tests.reports.bench import Bench
from tests.reports.demo import FEW, demo_folder, own_demo
from tests.reports.opened import read_garden
from tests.reports.page_checks import tree_of
from tests.reports.pages import DAY, PAGES, crowd, demo


def test_the_words_of_undated_trees_name_no_range():
    words = PAGES["sheltered"]().split("Every tree in words")[1].split("</details>")[0]
    told = re.findall(r"<p><strong>.*?</p>", words)
    assert told and all("look weekly from" in line and " about " not in line for line in told)


def test_measured_weather_and_forecast_both_have_an_end():
    text = PAGES["busy"]()
    assert "Weather to Sun 14 Jun, a forecast to Tue 23 Jun, then 30 past years as they might run." in text
    assert "no day missing. Then a forecast to Tue 23 Jun 2026." in text
    assert "Cellar &lt;north&gt; &amp; steps" in text and "No weather yet" in text


def test_the_season_is_that_of_the_place_where_the_trees_stand():
    assert "since the season began at Larkfield benches" in PAGES["busy"]()


def test_work_done_asks_for_care_and_late_wire_for_a_look_now():
    care = PAGES["busy"]().split('class="also"')[1].split("</details>")[0]
    assert "<strong>Crab apple" in care and "(until" in care
    today = PAGES["busy"]().split('class="blocks"')[1].split("</ul>")[0]
    assert "wire on this year's shoots" in unescape(today).lower()


def test_every_figure_leads_to_how_it_is_reckoned():
    root = tree_of(PAGES["busy"]())
    led = {a.get("href") for a in root.iter("a")}
    told = {f"#{h.get('id')}" for h in root.iter("h3") if (h.get("id") or "").startswith("how-")}
    assert (
        {"#how-window", "#how-waiting", "#how-stop", "#how-season", "#how-care", "#how-weather"}
        <= led
        <= told
    )
    for fold in root.iter("details"):
        if (fold.findtext("summary") or "") != "How this is reckoned":
            assert any((a.get("href") or "").startswith("#how-") for a in fold.iter("a")), fold.findtext(
                "summary"
            )


def test_a_hardly_measured_season_tells_no_warmth():
    garden, settings = demo(trees=FEW)
    series = garden.weather[garden.places[0].id]
    tmin = series.tmin.copy()
    tmin[series.index(date(2024, 2, 1)) : series.index(date(2024, 6, 1))] = np.nan
    holed = DailyWeather(series.first_day, tmin, series.tmax, series.source)
    garden = replace(garden, weather={garden.places[0].id: holed})
    html = report_html(demo_folder(trees=FEW), garden, settings, look_back=False)
    row = re.search(r'<tr><th scope="row">2024</th>(.*?)</tr>', html)[1]
    assert re.findall(r"<td>(.*?)</td>", row) == [".", ".", ""]
    assert "Too little weather was measured to tell the warmth of 2024." in html
    assert "Too little weather" not in report_html(demo_folder(trees=FEW), *demo(trees=FEW), look_back=False)


@pytest.mark.slow
def test_in_late_november_the_report_says_what_the_forecast_says():
    garden, settings = demo(date(2026, 11, 28))
    forecast = forecast_text(make_agenda(forecast_garden(garden)), 10_000)
    told = [line for line in forecast.splitlines() if "next bud break" in line]
    html = unescape(report_html(demo_folder(date(2026, 11, 28)), garden, settings, look_back=False))
    page = html.split("Every tree in words")[1].split("</details>")[0]
    assert len(told) > 3
    for line in told:
        date_and_range = line.split("next bud break ")[1].split(";")[0].rstrip(".")
        assert f"ext bud break {date_and_range}" in page


def test_a_tree_without_dates_is_told_on_the_page_too(tmp_path):
    bench = Bench(own_demo(tmp_path, trees=FEW), today=str(DAY))
    bench.does("look", "beech", "hardened", "--date", "2026-06-10")
    bench.does("work", "beech", "cutback", "--date", "2026-06-12")
    garden, settings = read_garden(bench.folder, DAY)
    forecast = forecast_text(make_agenda(forecast_garden(garden)), 10_000)
    said = [line for line in forecast.splitlines() if "not taken for granted" in line]
    html = unescape(report_html(bench.folder, garden, settings, look_back=False))
    assert said and all(line.partition(": ")[2] in html for line in said)


def test_a_crowd_is_what_it_says():
    garden, _ = demo()
    many = crowd(garden, 30)
    assert len(many.trees) == 30 == len({tree.id for tree in many.trees})
    assert len(many.looks) == 3 * len(garden.looks)


@pytest.mark.parametrize("name", ["no trees", "one tree", "short of weather", "without weather"])
def test_little_gardens_say_what_is_missing(name):
    html = PAGES[name]()
    if name == "no trees":
        assert "The garden has no trees yet" in html and "0 past years" not in html
    if name == "one tree":
        assert html.count("<h1>Sunday 14 June: look at 1</h1>") == 1
    if name == "short of weather":
        assert "1 past season pale" in html and "too few past seasons of weather" in html
        assert "Only 1 year of weather, to 14 Jun: dates rest on that and the usual warmth" in html
    if name == "without weather":
        assert "No weather yet: dates rest on the usual warmth of latitude" in html
        assert "No weather yet: its warmth is not known." in html
        assert "no weather yet" in html and 'class="range"' in html


def test_fahrenheit_gardens_are_told_fahrenheit():
    html = PAGES["fahrenheit"]()
    assert "degree-days above 41 °F" in html and "steady 64 °F" in html
    assert "°C" not in html


def test_in_winter_no_days_ahead_are_told():
    table = PAGES["winter"]().split("This season against past ones")[1].split("</table>")[0]
    assert "degree-days<br>" in table and "days ahead<br>" not in table
