"""`flushcast elsewhere`: a teacher's dates, on the demo garden and with no garden at all."""

from __future__ import annotations

import csv
import io
import re
from datetime import date

import pytest

from data_sources.demo.climate import synthetic_weather
from reports.garden.elsewhere_weather import learned_weights
from reports.garden.open_garden import OpenGarden
from tests.reports.bench import Bench
from tests.reports.demo import DAY, demo_folder, own_demo


@pytest.fixture(scope="module")
def far(tmp_path_factory):
    """Weather files of three invented towns."""
    folder = tmp_path_factory.mktemp("far")
    for name, latitude, seed in (("Warmford", 38, 5), ("Southby", -42, 6), ("Northby", 57, 7)):
        weather = synthetic_weather(date(2008, 1, 1), date(2025, 12, 31), latitude, seed=seed)
        days = (date.fromordinal(weather.first_day.toordinal() + i) for i in range(len(weather.tmin)))
        lines = [f"{d},{a},{b}" for d, a, b in zip(days, weather.tmin, weather.tmax, strict=True)]
        (folder / f"{name}.csv").write_text("\n".join(["date,tmin,tmax", *lines]))
    return folder


@pytest.fixture
def bench():
    return Bench(demo_folder(), today=DAY.isoformat())


def test_one_date_is_one_sentence(bench, far):
    said = bench.does(
        "elsewhere", "Warmford", "--weather", far / "Warmford.csv", "--units", "C", "--date", "1 June",
        "--operation", "cutback", "--species", "trident maple",
    ).out  # fmt: skip
    told = " ".join(said.split())
    assert told.startswith("Cutback of trident maple done in Warmford on 1 June is due at Larkfield benches")
    assert re.search(r"about \d+ July \(\d+( July)?-\d+ \w+\)\.", told)
    assert "the leaf decides" in said and "docs/method.md, section 8" in said


def test_no_journal_is_needed(tmp_path, far):
    said = Bench(tmp_path / "nothing").does(
        "elsewhere", "Warmford", "--weather", far / "Warmford.csv", "--here", far / "Northby.csv",
        "--units", "C", "--date", "early May",
    ).out  # fmt: skip
    assert "What is done in Warmford 1-10 May is due at your place about" in " ".join(said.split())


def test_both_directions_lie_on_either_side_of_the_date(bench, far):
    weather = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--date", "20 June"]
    there_to_here, here_to_there = (
        next(csv.DictReader(io.StringIO(bench.does(*weather, "--csv", *way).out)))
        for way in ((), ("--from-here",))
    )
    assert there_to_here["due"] < "06-20" < here_to_there["due"]
    assert there_to_here["due_low"] < there_to_here["due"] < there_to_here["due_high"]


def test_the_other_hemisphere_has_its_own_months(bench, far):
    said = bench.does("elsewhere", "Southby", "--weather", far / "Southby.csv", "--units", "C").out
    assert re.search(r"^1 Jan +\d", said, re.M) and not re.search(r"^1 Jul +\d", said, re.M)


def test_a_card_for_a_club(bench, far):
    files = [
        p for name in ("Warmford", "Southby", "Northby") for p in ("--weather", f"{name}={far / name}.csv")
    ]
    towns = ["elsewhere", "Warmford", "Southby", "Northby", *files, "--units", "C"]
    card = bench.does(*towns, "--date", "1 June", "--date", "1 July").out.splitlines()
    assert card[0] == "Done in Larkfield benches on these dates, due elsewhere."
    assert card[2].split() == ["1", "Jun", "1", "Jul"]
    assert [line.split()[0] for line in card[3:6]] == ["Warmford", "Southby", "Northby"]
    assert "South of the equator: Southby." in " ".join(" ".join(card).split())
    rows = list(csv.DictReader(io.StringIO(bench.does(*towns, "--date", "1 June", "--csv").out)))
    assert [row["here"] for row in rows] == ["Warmford", "Southby", "Northby"]
    assert rows[1]["due"] > "11" or rows[1]["due"] < "04"  # summer of the south


def test_without_weather_it_says_how_to_add_some(bench, tmp_path):
    told = bench.refuses("elsewhere", "Reykjavik")
    assert "no weather for Reykjavik yet: give a file with --weather FILE --units C" in told
    assert 'flushcast place add "Reykjavik" --lat 64.1' in told
    assert "no garden in" in Bench(tmp_path / "none").refuses("elsewhere", "Reykjavik")


def test_winter_dates_and_wrong_years_are_refused(bench, far):
    weather = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C"]
    assert "hardly any warmth has gathered in Northby by 20 Jan" in bench.refuses(
        *weather, "--date", "20 Jan"
    )
    assert "no whole season 1990" in bench.refuses(*weather, "--date", "1 July", "--year", "1990")
    assert bench(*weather, "--year", "2010", "--from-here").code == 2


def test_what_a_species_does_not_stand_is_said(bench, far):
    said = bench.does(
        "elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--date", "1 July",
        "--operation", "full-defoliation", "--species", "Fagus crenata",
    ).out  # fmt: skip
    assert "Japanese beech: not defoliated" in said


def test_a_gardens_own_looks_weigh_the_ways_of_counting_warmth(bench, far, tmp_path):
    asked = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--date", "1 July"]
    learned = bench.does(*asked, "--species", "beech", "--operation", "cutback")
    assert "weighed by your own looks, 4 seasons of Fagus crenata" in learned.words
    assert not bench.does(*asked).words
    nowhere = Bench(tmp_path / "none")
    assert not nowhere.does(*asked, "--here", far / "Warmford.csv", "--species", "Fagus crenata").words


def test_repotting_is_weighed_by_bud_break_and_cutting_by_hardening(tmp_path):
    (buds, seasons), (leaves, _) = (
        learned_weights(OpenGarden(demo_folder()), "Fagus crenata", w) for w in ("repotting", "")
    )
    assert seasons == 5 and len(buds) == len(leaves) == 8
    assert buds != leaves and max(leaves.values()) > min(leaves.values()) > 0
    assert learned_weights(OpenGarden(demo_folder()), "Acer palmatum", "") is None  # not grown here
    assert learned_weights(OpenGarden(tmp_path), "Fagus crenata", "") is None


TOWNS = {
    "Warmford": "Warmford", "Saint-Aubin-sur-Colline-le-Vieux": "Northby", "Southby": "Southby",
    "Highmoor": "Northby", "Eastwick": "Warmford", "Lowmarsh": "Northby", "Kowhai Bay": "Southby",
    "Birchfell": "Northby", "Quillan <old town> & mill": "Warmford", "Northby": "Northby",
}  # fmt: skip
"""Ten towns, and the file that each takes its weather from."""


@pytest.fixture
def ten(far):
    """What asks for a card of ten towns."""
    files = [part for town, file in TOWNS.items() for part in ("--weather", f"{town}={far / file}.csv")]
    return ["elsewhere", *TOWNS, *files, "--units", "C"]


def test_ten_towns_fit_eighty_columns(bench, ten):
    card = bench.does(*ten, "--date", "1 June", "--date", "early July", "--date", "5 Sep").out
    assert max(map(len, card.splitlines())) <= 80
    assert "1-10 Jul" in card and "5 Sep" in card and "the leaf decides" in card


def test_the_card_says_what_work_and_species_ask(bench, ten):
    said = bench.does(*ten, "--date", "1 June", "--operation", "full-defoliation", "--species", "beech").out
    assert said.startswith("Full defoliation of Japanese beech done in Larkfield benches")
    assert "Japanese beech: not defoliated" in said


def test_the_card_as_a_page(bench, ten, tmp_path):
    file = tmp_path / "card.html"
    said = bench.does(*ten, "--date", "1 June", "--date", "1 July", "--operation", "cutback", "--page", file)
    assert "Wrote" in said.err and not said.out
    html = file.read_text(encoding="utf-8")
    text = bench.does(*ten, "--date", "1 June", "--date", "1 July", "--operation", "cutback")
    for due, early in re.findall(r"(\d+ \w{3}) \((\d+)", text.out):
        assert due in html and early in html
    assert html.count('<svg class="strip"') == len(TOWNS)
    assert "Quillan &lt;old town&gt; &amp; mill" in html and "<old" not in html
    assert "South of the equator: Southby and Kowhai Bay." in html
    assert "the leaf decides" in html and "sharp blades" in html


def test_a_range_over_new_year_is_drawn_in_two_pieces(bench, far, tmp_path):
    file = tmp_path / "card.html"
    weather = ["--weather", far / "Southby.csv", "--units", "C", "--from-here"]
    bench.does("elsewhere", "Southby", *weather, "--date", "20 July", "--page", file)
    bars = re.findall(r'class="range" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', file.read_text("utf-8"))
    assert len(bars) == 2
    assert float(bars[0][0]) + float(bars[0][1]) == 366 and float(bars[1][0]) == 0


def test_page_and_csv_do_not_go_together(bench, ten, tmp_path):
    assert bench(*ten, "--csv", "--page", tmp_path / "card.html").code == 2


def test_a_leap_day_is_the_last_of_february(bench, far):
    weather = ["elsewhere", "Southby", "--weather", far / "Southby.csv", "--units", "C", "--csv"]
    leap, plain = (
        next(csv.DictReader(io.StringIO(bench.does(*weather, "--date", day).out)))
        for day in ("29 Feb 2024", "28 Feb")
    )
    assert leap["there"] == "Southby" and leap["from"] == "02-29" and leap["due"] == plain["due"]


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
    assert told[0] == told[1] and ",07-05," in told[0]


def test_dates_are_written_in_the_order_of_the_garden(bench, far, tmp_path):
    from phenology.language.date_style import DateStyle, using_dates
    from reports.text.elsewhere_words import day_words, range_words

    with using_dates(DateStyle("month-first")):
        assert day_words(date(2025, 7, 5)) == "July 5"
        assert range_words(date(2025, 6, 20), date(2025, 6, 29)) == "June 20-29"
    with using_dates(DateStyle("year-first")):  # the year is only a label and must not be said
        assert day_words(date(2025, 7, 5)) == "5 July"


@pytest.mark.slow
def test_a_place_added_later_does_not_become_the_garden(tmp_path, far):
    mine = Bench(own_demo(tmp_path), today=DAY.isoformat())
    mine.does("place", "add", "Akaroa", "--lat", "-43.8", "--lon", "172.9")  # first by name, and south
    weather = ["elsewhere", "Northby", "--weather", far / "Northby.csv", "--units", "C", "--date", "20 June"]
    assert "due at Larkfield benches" in " ".join(mine.does(*weather).out.split())
    assert mine.does("forecast").out.startswith("2026 season")
