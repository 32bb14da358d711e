"""`flushcast elsewhere`: a teacher's dates, on the demo garden and with no garden at all."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import date
from types import SimpleNamespace

import pytest

from data_sources.demo.climate import synthetic_weather
from reports.views.elsewhere_text import asked_words
from tests.reports.bench import Bench
from tests.reports.browser import chromium
from tests.reports.demo import DAY, demo_folder, own_demo


@pytest.fixture(scope="module")
def far(tmp_path_factory):
    """Weather files of three invented towns."""
    folder = tmp_path_factory.mktemp("far")
    for name, latitude, seed in (("Warmford", 38, 5), ("Southby", -42, 6), ("Northby", 57, 7)):
        weather = synthetic_weather(date(2017, 1, 1), date(2025, 12, 31), latitude, seed=seed)
        days = (date.fromordinal(weather.first_day.toordinal() + i) for i in range(len(weather.tmin)))
        lines = [f"{d},{a},{b}" for d, a, b in zip(days, weather.tmin, weather.tmax, strict=True)]
        (folder / f"{name}.csv").write_text("\n".join(["date,tmin,tmax", *lines]))
    return folder


@pytest.fixture
def bench():
    return Bench(demo_folder(), today=DAY.isoformat())


def table(answer):
    """The rows of a CSV answer."""
    return list(csv.DictReader(io.StringIO(answer.out)))


def test_one_date_is_told_for_each_own_tree(bench, far):
    said = bench.does(
        "elsewhere", "Warmford", "--weather", far / "Warmford.csv", "--lat", "38", "--units", "C",
        "--date", "1 June", "--operation", "cutback", "--species", "trident maple",
    )  # fmt: skip
    told = " ".join(said.out.split())
    assert told.startswith(
        "Cutback of trident maple in Warmford on 1 Jun: when leaves of the first flush are hard"
    )
    assert re.search(
        r"At Larkfield benches that comes about \d+ Jun 2026 \(\d+-\d+ Jun\) for Maple 1\.", told
    )
    assert "for Maple 2. No: Maple 2 is building" in told  # which is only let grow
    assert "the leaf decides" in told and "docs/method.md, section 8" in told
    assert "note" not in said.err


def test_an_own_tree_is_told_what_its_forecast_tells(bench, far):
    """A lesson and the forecast never tell two dates of one tree, nor two last safe days."""
    asked = ["--weather", far / "Warmford.csv", "--units", "C", "--date", "1 June", "--species", "beech"]
    row = table(bench.does("elsewhere", "Warmford", *asked, "--operation", "cutback", "--csv"))[0]
    mine = json.loads(bench.does("forecast", "beech", "--json").out)
    hard = next(r for r in mine["rows"] if r["stage"] == "hardened")
    told = (row["tree"], row["due_low"], row["due"], row["due_high"], row["until"], row["in_time"])
    assert told == ("Beech", hard["p10"], hard["p50"], hard["p90"], hard["last_safe"], "True")


def test_no_journal_is_needed(tmp_path, far):
    said = Bench(tmp_path / "nothing", today=DAY.isoformat()).does(
        "elsewhere", "Warmford", "--weather", far / "Warmford.csv", "--here", far / "Northby.csv",
        "--units", "C", "--date", "early May",
    )  # fmt: skip
    told = " ".join(said.out.split())
    assert "A lesson in Warmford on 1-10 May: when" in told and "At your place that comes about" in told
    assert "No species is named" in told and 'say better with --lat "your place=DEGREES"' in said.err


def test_both_directions_lie_on_either_side_of_the_date(bench, far):
    weather = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--species", "ume"]
    asked = [*weather, "--operation", "cutback", "--flush", "1", "--date", "20 June", "--csv"]
    (to_me,), (from_me,) = table(bench.does(*asked)), table(bench.does(*asked, "--from-here"))
    assert to_me["due"] < from_me["due"] and from_me["here"] == "Northby"
    assert to_me["due_low"] < to_me["due"] < to_me["due_high"]


def test_the_other_hemisphere_has_its_own_months(bench, far):
    said = bench.does("elsewhere", "Southby", "--weather", far / "Southby.csv", "--units", "C").out
    assert "in Southby on 1 Jan: when" in said and "on 1 Jul:" not in said


def test_a_card_for_a_club(bench, far):
    files = [
        p for name in ("Warmford", "Southby", "Northby") for p in ("--weather", f"{name}={far / name}.csv")
    ]
    towns = ["elsewhere", "Warmford", "Southby", "Northby", *files, "--units", "C", "--species", "crab apple",
             "--operation", "cutback"]  # fmt: skip
    card = bench.does(*towns, "--date", "1 June", "--date", "1 Feb").out.splitlines()
    assert card[0] == "Cutback of Hall crab apple in Larkfield benches on these dates, due elsewhere."
    rows = {line[:16].strip(): line for line in card[2:10]}
    assert rows["Larkfield benche"].split()[2:] == ["1", "Jun", "1", "Feb"]  # the home date beside it
    assert {"Warmford", "Southby", "Northby"} <= {name.split()[0] for name in rows if name}
    rows = table(bench.does(*towns, "--date", "1 June", "--csv"))
    assert [row["here"] for row in rows] == ["Warmford", "Southby", "Northby"]
    assert rows[1]["due"][5:] > "10"  # spring of the south
    assert {row["tree"] for row in rows} == {""}


def test_without_weather_the_latitude_stands_in(bench, tmp_path):
    asked = ["--date", "10 July", "--species", "beech", "--operation", "cutback"]
    told = bench.does("elsewhere", "Reykjavik", *asked)
    assert "the usual warmth of latitude 64 north stands in" in " ".join(told.out.split())
    lost = bench.refuses("elsewhere", "Nowhere at all", *asked)
    assert 'give its latitude with --lat "Nowhere at all=48.1"' in lost and "flushcast place add" in lost
    assert "no garden in" in Bench(tmp_path / "none").refuses("elsewhere", "Reykjavik")


def test_a_card_of_work_that_nothing_ends_names_no_day_to_stop(bench):
    said = bench.does(
        "elsewhere", "A", "B", "--lat", "A=57", "--lat", "B=30", "--date", "early June", "--date", "20 July",
        "--operation", "halving", "--species", "beech",
    )  # fmt: skip
    assert "Halving" in said.out and "Stop by" not in said.out


def test_winter_dates_go_by_the_winter_and_wrong_years_are_refused(bench, far):
    weather = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C"]
    told = bench.does(*weather, "--date", "20 Dec").out
    assert "when it is at rest" in told and "Cut nothing for" in told
    assert "no whole season 1990" in bench.refuses(*weather, "--date", "1 July", "--year", "1990")
    assert bench(*weather, "--year", "2020", "--from-here").code == 2
    assert bench("elsewhere", "Northby", "Southby", "--lat", "57").code == 2


def test_what_a_species_does_not_stand_is_said(bench, far):
    said = bench.does(
        "elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--date", "1 July",
        "--operation", "full-defoliation", "--species", "Fagus crenata",
    ).out  # fmt: skip
    assert "No: Japanese beech is never defoliated" in " ".join(said.split())


def test_a_gardens_own_looks_are_taken_to_the_other_place(bench, far, tmp_path):
    asked = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--date", "1 July"]
    learned = bench.does(*asked, "--species", "beech", "--operation", "cutback", "--csv")
    assert "What Fagus crenata takes is learned from your own looks, 4 seasons" in learned.words
    nowhere = Bench(tmp_path / "none", today=DAY.isoformat())
    plain = nowhere.does(
        *asked,
        "--here",
        far / "Warmford.csv",
        "--species",
        "Fagus crenata",
        "--operation",
        "cutback",
        "--csv",
    )
    assert "own looks" not in plain.err and "the catalogue's guess" in plain.out
    assert table(learned)[0]["there_usual"] != table(plain)[0]["there_usual"]


TOWNS = {
    "Saint-Aubin-sur-Colline-le-Vieux": "Northby",
    "Southby": "Southby",
    "Quillan <old town> & mill": "Warmford",
}
"""Some towns, and the file that each takes its weather from."""


@pytest.fixture
def many(far):
    """What asks for a card of them."""
    files = [part for town, file in TOWNS.items() for part in ("--weather", f"{town}={far / file}.csv")]
    return ["elsewhere", *TOWNS, *files, "--units", "C"]


def test_many_towns_fit_eighty_columns_and_a_page_that_is_a_handout(bench, many, tmp_path):
    file = tmp_path / "card.html"
    asked = [
        *many,
        "--date",
        "1 June",
        "--date",
        "early July",
        "--species",
        "beech",
        "--operation",
        "cutback",
    ]
    said = bench.does(*asked, "--page", file)
    assert "Wrote" in said.err and not said.out
    html = file.read_text(encoding="utf-8")
    text = bench.does(*asked).out
    assert max(map(len, text.splitlines())) <= 80 and "1-10 Jul" in text and "the leaf decides" in text
    for due, early in re.findall(r"(\d+ \w{3}) \((\d+)", text):
        assert due in html and early in html
    assert html.count('<svg class="strip"') == len(TOWNS) and "Where to cut this shoot" in html
    assert "Quillan &lt;old town&gt; &amp; mill" in html and "<old" not in html
    assert "leaves firm and springing back" in html and "cut shoots back to" in html.casefold()
    assert "the leaf decides" in html and "sharp blades" in html and "too late" in html
    assert "--flush" not in html  # nobody types on paper


def test_a_range_over_new_year_is_drawn_in_two_pieces(bench, far, tmp_path):
    file = tmp_path / "card.html"
    weather = ["--weather", far / "Southby.csv", "--units", "C", "--from-here", "--species", "olive"]
    bench.does("elsewhere", "Southby", *weather, "--stage", "firm", "--date", "20 July", "--page", file)
    bars = re.findall(r'class="range" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', file.read_text("utf-8"))
    assert len(bars) == 2
    assert float(bars[0][0]) + float(bars[0][1]) == 366 and float(bars[1][0]) == 0


def test_page_and_csv_do_not_go_together(bench, many, tmp_path):
    assert bench(*many, "--csv", "--page", tmp_path / "card.html").code == 2


def test_fahrenheit_files_give_the_same_dates(far, tmp_path):
    rows = list(csv.DictReader((far / "Warmford.csv").read_text().splitlines()))
    lines = [f"{r['date']},{float(r['tmin']) * 1.8 + 32:.3f},{float(r['tmax']) * 1.8 + 32:.3f}" for r in rows]
    (tmp_path / "f.csv").write_text("\n".join(["date,tmin,tmax", *lines]))
    nowhere = Bench(tmp_path / "none")
    told = [
        nowhere.does("elsewhere", "Warmford", "--weather", file, "--here", file, "--units", units,
                     "--date", "5 July", "--csv").out
        for file, units in ((far / "Warmford.csv", "C"), (tmp_path / "f.csv", "F"))
    ]  # fmt: skip
    assert told[0] == told[1] and "-07-05," in told[0]


def test_dates_are_written_in_the_order_of_the_garden(bench, far):
    from phenology.language.date_style import DateStyle, using_dates

    asked = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--date", "1 July"]
    row = SimpleNamespace(asked_from=date(2025, 7, 5), asked_to=date(2025, 7, 9))
    for order, words in (("month-first", "Jul 5-9"), ("year-first", "5-9 Jul")):  # the year is only a label
        with using_dates(DateStyle(order)):
            assert asked_words(row) == words
    assert "on 1 Jul:" in bench.does(*asked).out


@pytest.mark.slow
def test_a_handout_for_ten_towns_prints_on_one_sheet(bench, tmp_path):
    towns = [f"Town {n}" for n in range(10)]
    latitudes = [part for n, town in enumerate(towns) for part in ("--lat", f"{town}={38 + 2 * n}")]
    asked = ["elsewhere", *towns, *latitudes, "--date", "1 June", "--species", "crab apple"]
    bench.does(*asked, "--operation", "cutback", "--page", tmp_path / "card.html")
    with chromium() as browser:
        view = browser.new_page()
        view.goto((tmp_path / "card.html").as_uri())
        sheets = view.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", sheets)) == 1


@pytest.mark.slow
def test_a_place_added_later_does_not_become_the_garden(tmp_path, far):
    mine = Bench(own_demo(tmp_path), today=DAY.isoformat())
    mine.does("place", "add", "Akaroa", "--lat", "-43.8", "--lon", "172.9")  # first by name, and south
    weather = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--date", "20 June"]
    assert "At Larkfield benches" in " ".join(mine.does(*weather).out.split())
    assert mine.does("forecast").out.startswith("2026 season")
