"""`flushcast elsewhere`: a teacher's dates, on the demo garden and with no garden at all."""

from __future__ import annotations

import csv
import io
from datetime import date

import pytest

from phenology.weather.climate import synthetic_weather
from reports.elsewhere_weather import learned_weights
from tests.reports.bench import Bench
from tests.reports.demo import DAY, demo_folder


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
        "elsewhere", "Warmford", "--weather", far / "Warmford.csv", "--units", "C", "--date", "1 May",
        "--operation", "cutback", "--species", "trident maple",
    ).out  # fmt: skip
    assert said.startswith("Cutback of trident maple done in Warmford on 1 May is due at Larkfield")
    assert "the leaf decides" in said


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
    assert "1 Jan  ->" in said and "1 Jul  ->" not in said


def test_a_card_for_a_club(bench, far):
    files = [
        p for name in ("Warmford", "Southby", "Northby") for p in ("--weather", f"{name}={far / name}.csv")
    ]
    towns = ["elsewhere", "Warmford", "Southby", "Northby", *files, "--units", "C"]
    card = bench.does(*towns, "--date", "1 June", "--date", "1 July").out.splitlines()
    assert card[0] == "Done in Larkfield benches on"
    assert [line.split()[0] for line in card[2:5]] == ["Warmford", "Southby", "Northby"]
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
        learned_weights(demo_folder(), "Fagus crenata", w) for w in ("repotting", "")
    )
    assert seasons == 5 and len(buds) == len(leaves) == 8
    assert buds != leaves and max(leaves.values()) > min(leaves.values()) > 0
    assert learned_weights(demo_folder(), "Acer palmatum", "") is None  # not grown here
    assert learned_weights(tmp_path, "Fagus crenata", "") is None
