"""A garden's units, order of dates and first weekday, followed through every command a grower reads."""

from __future__ import annotations

import json
import re
from datetime import date
from pathlib import Path

import pytest

from phenology.language.date_style import using_dates
from phenology.language.degrees import degrees, degrees_apart, using_units
from phenology.weather.quality import doubtful_days, without_crossed_days
from phenology.weather.series import DailyWeather
from tests.reports.bench import Bench, new_bench
from tests.reports.demo import DAY, FEW, flushcast, own_demo

MONTH = "(?:Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec)"
DAY_FIRST = re.compile(rf"(?<![\d,-])\b\d{{1,2}} {MONTH}\b")
MONTH_FIRST = re.compile(rf"\b{MONTH} \d{{1,2}}\b(?!-\d{{2}}\b)")
CELSIUS = re.compile("°C")


def american(tmp_path: Path) -> Bench:
    """A demo garden that writes months first, begins weeks on Sunday and thinks in Fahrenheit."""
    bench = Bench(own_demo(tmp_path, trees=FEW), DAY.isoformat())
    for name, value in (("units", "F"), ("date-order", "month-first"), ("first-weekday", "sunday")):
        bench.does("settings", name, value)
    return bench


def southern(tmp_path: Path) -> Bench:
    """A demo garden south of the equator that writes the year first."""
    bench = Bench(own_demo(tmp_path, date(2026, 12, 14), south=True, trees=FEW), "2026-12-14")
    bench.does("settings", "date-order", "year-first")
    return bench


def everything_read(bench: Bench, tmp_path: Path) -> dict[str, str]:
    """What each command says or writes, by command; first some is written down."""
    told = {}
    for words in (
        ["look", "crab apple", "firm"],
        ["work", "crab apple", "cutback"],
        ["settings"],
        ["look", "--list"],
        ["work", "--list"],
        ["history"],
        ["tree", "list"],
        ["forecast", "--changes"],
        ["round"],
        ["round", "--sheet"],
        ["windows"],
        ["compare"],
        ["calibrate", "beech"],
        ["calibrate", "beech", "--classic"],
        ["weather", "status"],
        ["elsewhere", "Larkfield benches", "--species", "beech"],
    ):
        answer = bench.does(*words)
        told[" ".join(words)] = f"{answer.out}\n{answer.err}"
    files = {
        "garden.svg": ["chart", "garden"],
        "tree.svg": ["chart", "tree", "--tree", "Beech"],
        "seasons.svg": ["chart", "seasons"],
        "learned.svg": ["chart", "calibration", "--species", "beech"],
        "report.html": ["report"],
        "garden.ics": ["calendar"],
    }
    for name, words in files.items():
        answer = bench.does(*words, "--out", tmp_path / name)
        told[" ".join(words)] = answer.err + (tmp_path / name).read_text(encoding="utf-8")
    return told


def wrong(told: dict[str, str], pattern: re.Pattern[str]) -> list[str]:
    """Where a pattern occurs, with some words around it."""
    return [
        f"{command}: {text[max(0, m.start() - 40) : m.end() + 20]!r}"
        for command, text in told.items()
        for m in pattern.finditer(text)
    ]


@pytest.mark.slow
def test_an_american_garden_reads_american_everywhere(tmp_path):
    told = everything_read(american(tmp_path), tmp_path)
    assert not wrong(told, DAY_FIRST)
    assert not wrong(told, CELSIUS)
    assert "as of Sun Jun 14, 2026" in told["forecast --changes"]
    assert "Crab apple: cutback, Sun Jun 14." in told["work crab apple cutback"]
    assert "degree-days above 41 °F" in told["compare"]
    assert "at a steady 64 °F" in told["calibrate beech"]
    assert "64 °F" in told["chart calibration --species beech"]
    assert MONTH_FIRST.search(told["report"]) and "°F" in told["report"]


@pytest.mark.slow
def test_a_southern_garden_with_the_year_first_names_no_month_before_or_after_a_day(tmp_path):
    told = everything_read(southern(tmp_path), tmp_path)
    del told["elsewhere Larkfield benches --species beech"]  # its days belong to no year: never year first
    assert not wrong(told, DAY_FIRST)
    assert not wrong(told, MONTH_FIRST)
    assert "2026/27 season, as of Mon 2026-12-14" in told["forecast --changes"]
    assert "Crab apple: cutback, Mon 2026-12-14." in told["work crab apple cutback"]
    for command in ("forecast --changes", "round", "windows"):
        assert max(map(len, told[command].splitlines())) <= 80


def test_degree_days_turn_by_nine_fifths_and_no_offset(tmp_path):
    bench = Bench(own_demo(tmp_path, trees=FEW), DAY.isoformat())
    celsius = json.loads(bench.does("compare", "--json").out)
    bench.does("settings", "units", "F")
    fahrenheit = json.loads(bench.does("compare", "--json").out)
    assert (celsius["base"], fahrenheit["base"]) == (5, 41)
    for c, f in zip(celsius["seasons"], fahrenheit["seasons"], strict=True):
        assert f["degree_days"] == pytest.approx(1.8 * c["degree_days"], abs=0.2)


def test_the_real_command_follows_and_json_stays_iso(tmp_path):
    garden = american(tmp_path).folder
    said = flushcast("--garden", garden, "forecast", today=DAY.isoformat())
    assert "as of Sun Jun 14, 2026" in said.stdout
    data = json.loads(flushcast("forecast", "--garden", garden, "--json").stdout)
    assert data["as_of"] == "2026-06-14" and data["units"] == "F"
    asked = flushcast("forecast", "--garden", garden, "--as-of", "5/6/2026")
    assert "as of Wed May 6, 2026" in asked.stdout


def test_a_garden_s_style_does_not_outlive_its_command(tmp_path):
    american(tmp_path).does("forecast")
    other = new_bench(tmp_path / "other")
    assert "Sat 25 Jul" in other.does("look", "Elm 1", "soft").words


@pytest.mark.parametrize(("order", "read"), [("day-first", "Sat 4 Jul"), ("month-first", "Tue Apr 7")])
def test_four_slash_seven_reads_as_the_garden_has_it(tmp_path, order, read):
    bench = new_bench(tmp_path / "garden", "--date-order", order)
    assert f"extending, {read}" in bench.does("look", "Elm 1", "soft", "--date", "4/7/2026").words


def test_with_the_year_first_four_slash_seven_is_asked_for_in_words(tmp_path):
    bench = new_bench(tmp_path / "garden", "--date-order", "year-first")
    told = bench.refuses("look", "Elm 1", "soft", "--date", "4/7/2026")
    assert "may be 4 July or 7 April" in told and "or 2026-07-04" in told
    assert "2026-07-04" in bench.does("look", "Elm 1", "soft", "--date", "2026-07-04").words


def test_a_week_is_the_garden_s_own_when_written_down_and_imported(tmp_path):
    bench = new_bench(tmp_path / "garden", "--first-weekday", "Sunday")
    told = bench.does("look", "Elm 1", "soft", "--date", "week of 4 July", "--kind", "seen").words
    assert "28 Jun-4 Jul" in told
    file = tmp_path / "looks.csv"
    file.write_text("date,tree,stage,kind\nweek of 4 July,Hornbeam 1,soft,seen\n", encoding="utf-8")
    bench.does("import", file)
    assert bench.does("look", "--list").out.count("28 Jun-4 Jul") == 2


def test_the_garden_by_week_begins_its_weeks_where_the_garden_does(tmp_path):
    from phenology.advice.garden_forecast import forecast_garden
    from reports.charts.tree_charts import plot_garden
    from tests.reports.opened import read_garden

    garden, settings = read_garden(american(tmp_path).folder, DAY)
    with using_dates(settings.date_style):
        left, right = plot_garden(forecast_garden(garden)).get_xlim()
    assert {date.fromordinal(int(day)).weekday() for day in (left, right)} == {6}


@pytest.mark.parametrize(
    ("place", "order", "weekday"),
    [
        (("--town", "Springfield, OH"), "month-first", "sunday"),
        (("--lat", "47.2", "--lon", "8.3"), "day-first", "monday"),
        (("--lat", "-33.9", "--lon", "151.2"), "day-first", "monday"),
        (("--lat", "43.7", "--lon", "-79.4"), "day-first, 4/7 asked", "sunday"),
        (("--lat", "47.2", "--lon", "8.3", "--timezone", "America/Chicago"), "month-first", "sunday"),
        (("--town", "Springfield, OH", "--date-order", "day-first"), "day-first", "sunday"),
    ],
)
def test_init_takes_both_from_the_country_and_says_so(tmp_path, place, order, weekday):
    bench = Bench(tmp_path / "garden")
    told = bench.does("init", bench.folder, *place).words
    assert f"weeks begin on {weekday.capitalize()}" in told and "flushcast settings date-order" in told
    assert bench.does("settings", "date-order").out.strip() == order
    assert bench.does("settings", "first-weekday").out.strip() == weekday


def test_flags_for_both_leave_nothing_to_say(tmp_path):
    bench = Bench(tmp_path / "garden")
    flags = ["--lat", "47", "--lon", "8", "--date-order", "year-first", "--first-weekday", "saturday"]
    assert "Dates (" not in bench.does("init", bench.folder, *flags).words
    assert bench.does("settings", "date-order").out.strip() == "year-first"


# Every sentence of `phenology.weather.quality` that names a temperature.
@pytest.mark.parametrize(
    ("low", "high", "celsius", "fahrenheit"),
    [
        (
            14.2,
            72.5,
            "tmax 72.5 °C: such heat was never measured",
            "tmax 162 °F: such heat was never measured",
        ),
        (-22.0, 25.0, "47 °C between tmin and tmax", "85 °F between tmin and tmax"),
        (-14.0, 5.0, "tmin -14 °C is 27 °C from the days", "tmin 7 °F is 49 °F from the days"),
    ],
)
def test_doubts_turn_temperatures_and_differences_each_their_way(low, high, celsius, fahrenheit):
    days = DailyWeather(date(2026, 7, 1), [14.0, low, 13.0], [25.0, high, 25.0], "station")
    assert celsius in doubtful_days(days)[date(2026, 7, 2)]
    with using_units("F"):
        assert fahrenheit in doubtful_days(days)[date(2026, 7, 2)]


def test_crossed_days_are_told_in_the_gardens_units():
    with using_units("F"):
        crossed = without_crossed_days(date(2026, 7, 1), [14.2], [9.8], "station")[1]
    assert crossed == {date(2026, 7, 1): "tmin 58 °F above tmax 50 °F"}


def test_temperatures_and_what_lies_between_two_are_written_each_their_way():
    assert [degrees(-3), degrees(32.5), degrees(18)] == ["-3 °C", "32.5 °C", "18 °C"]
    assert [degrees(-2, "F"), degrees(32.5, "F"), degrees(12, "C")] == ["28 °F", "90 °F", "12 °C"]
    assert [degrees_apart(30), degrees_apart(30, "F")] == ["30 °C", "54 °F"]
