"""`flushcast report`: one file, no network, readable on a phone, on paper, in the dark."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from functools import cache
from types import SimpleNamespace

from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.advice.agenda import Section, make_agenda
from phenology.advice.garden_forecast import forecast_garden
from phenology.model.track_record import TrackRecord
from phenology.weather.series import DailyWeather
from reports.page.content import care_topics, week
from reports.page.render import report_html, weather_of
from reports.views.change_text import care_of
from tests.reports.bench import Bench, new_bench
from tests.reports.demo import DAY, FEW, demo_folder, demo_past, own_demo
from tests.reports.opened import read_garden
from tests.reports.page_checks import tree_of, wrongs
from tests.reports.pages import PAGES

NOON = datetime(2026, 6, 14, 12, tzinfo=UTC)


@cache
def agenda(trees=()):
    return make_agenda(forecast_garden(read_garden(demo_folder(trees=trees), DAY)[0]))


def page():
    return PAGES["benches"]()


def test_a_strict_parser_finds_nothing_wrong():
    assert wrongs(tree_of(page())) == []


def test_nothing_is_fetched_and_nothing_runs():
    leads = ("src", "href", "xlink:href", "action")
    targets = [one.get(name) for one in tree_of(page()).iter() for name in leads if one.get(name)]
    assert targets and all(target.startswith("#") for target in targets)
    assert "default-src 'none'" in page()
    assert not re.search(r"<script|<link|@import|url\((?!#)| on\w+=", page())


def test_it_is_small():
    assert len(page().encode()) < 300_000


def test_the_headline_is_the_answer():
    today = agenda(FEW).of(Section.TODAY)
    assert f"<h1>Sunday 14 June: look at {len(today)}</h1>" in page()
    assert "5 days ahead of usual · weather to today" in page()


def test_every_tree_of_today_has_a_block_by_stop_date_and_says_what_it_opens():
    blocks = re.findall(r'<li( class="work")?><i class="box"></i><b>([^<]+)</b>(.*?)</li>', page())
    stops = [re.search(r"until (\d+ \w+)", rest)[1] for _, _, rest in blocks]
    assert [name for _, name, _ in blocks] == ["Hornbeam 1", "Beech", "Azalea", "Crab apple"]
    assert stops == ["16 Jun", "21 Jun", "21 Jul", "24 Jul"]
    works = {name: (bool(work), rest) for work, name, rest in blocks}
    assert works["Beech"][0] and "if firm, cut shoots back to two leaves" in works["Beech"][1]
    assert not works["Hornbeam 1"][0] and "aphids" in works["Hornbeam 1"][1]  # only a look


def test_the_week_names_trees_on_their_days():
    days = week(agenda())
    assert [day for day, _ in days] == [f"{w} {d} Jun" for w, d in
            zip(("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"), range(15, 22), strict=True)]  # fmt: skip
    assert dict(days)["Mon 15 Jun"] == "Maple 1" and sum(bool(trees) for _, trees in days) == 1


def test_care_topics_say_of_what_and_leave_the_doing_to_the_full_sentence():
    assert "shade and shelter: Elm, Hornbeam 3 and Zelkova (to 15-25 Jun)" in care_topics(agenda())
    full = page().split('class="also"')[1].split("</details>")[0]
    assert "Feed lightly once buds move" in full


def test_the_page_has_one_picture_and_one_axis_for_all_trees():
    assert page().count('class="picture"') == page().count('class="axis"') == 1
    assert page().count('role="img" aria-label="') >= len(FEW)
    assert page().count('<line class="today"') == len(FEW) + 1  # and one that explains it


def test_what_changed_and_how_far_off_forecasts_were_stand_on_the_page():
    assert "Since 7 Jun:" in page() and "days later, moved by your looks" in page()
    dots = re.search(r'aria-label="Japanese beech: ([^"]+)">(.*?)</svg>', page())
    assert dots[2].count("<circle") == dots[1].count("days") == 4  # a dot a season
    assert "days off on average" in page()


def test_attributions_of_the_weather_are_shown_and_names_are_escaped(tmp_path):
    folder = own_demo(tmp_path, trees=FEW)
    garden, settings = read_garden(folder, DAY)
    with WeatherStore.open(folder) as store:
        late = DailyWeather(DAY, [9.3], [21.7], "station")
        line = "Weather <data> by the Office of Invention"
        store.add(garden.places[0].id, late, Origin("file", "x", line), fetched_at=NOON, prefer=True)
    assert line in weather_of(folder, garden)[0].attributions
    html = report_html(folder, garden, settings, look_back=False)
    assert "Weather &lt;data&gt; by the Office" in html and "<data>" not in html
    assert "How good past forecasts were" not in html and "What changed" not in html


def test_a_new_garden_says_what_is_missing(tmp_path):
    bench = new_bench(tmp_path / "new")
    told = bench.does("report", "--out", tmp_path / "r.html").words
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    for words in (told, page):
        assert "No weather yet: dates rest on the usual warmth of latitude" in words
    assert "No weather yet: its warmth is not known." in page


def test_the_command_writes_the_file_and_says_so(tmp_path):
    bench = Bench(demo_folder(trees=FEW), today=DAY.isoformat())
    said = bench.does("report", "--out", tmp_path / "r.html", "--no-look-back").err
    assert "Wrote" in said and (tmp_path / "r.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")


def care_on(bench: Bench, day: date):
    return care_of(make_agenda(forecast_garden(read_garden(bench.folder, day)[0])))


def test_care_after_work_is_told_while_it_is_due(tmp_path):
    bench = Bench(own_demo(tmp_path, trees=FEW), today=DAY.isoformat())
    bench.does("work", "crab apple", "cutback", "--date", "2026-06-12")
    told = care_on(bench, DAY)
    mine = [words for trees, words in told if "Crab apple" in trees]
    assert mine and all(words.endswith(").") for words in mine)
    later = care_on(bench, date(2026, 8, 12))
    assert not any("Crab apple" in trees for trees, _ in later)


def test_the_report_trusts_as_the_forecast_does_and_shares_what_compare_keeps(tmp_path):
    bench = Bench(own_demo(tmp_path, trees=FEW), today=str(DAY))
    bench.does("compare")  # keeps how past forecasts did
    out = bench.folder / "report.html"
    told = bench.does("report", "--out", out)
    assert "Looking back" not in told.err
    records = TrackRecord.of(demo_past(FEW)).values()
    table = re.findall(r"<td>(\d+) days</td><td>(\d+) days</td>", out.read_text())
    kept = [(str(round(r.missed)), str(round(r.usual_missed))) for r in records]
    assert sorted(table) == sorted(kept)


def test_a_tree_looked_at_weekly_stands_in_the_week_though_its_forecast_look_is_far_off():
    far = SimpleNamespace(decides=True, look_on=DAY + timedelta(days=250))
    row = SimpleNamespace(told=[far], tree=SimpleNamespace(label="Elm"))
    days = week(SimpleNamespace(garden=SimpleNamespace(as_of=DAY), of=lambda section: [row]))
    assert len(days) == 7 and [trees for _, trees in days] == ["Elm", *[""] * 6]
