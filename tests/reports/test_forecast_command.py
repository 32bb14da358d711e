"""`flushcast demo` and `flushcast forecast`, through the real command line."""

from __future__ import annotations

import csv
import io
import json
import re
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from data_sources.demo.climate import synthetic_weather
from data_sources.garden import GardenSettings, create_garden, open_journal
from data_sources.weather.store.records import Origin
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.records import Place, Stand, Tree
from tests.reports.demo import DAY, FEW, demo_folder, flushcast, own_demo
from tests.test_rooms import HEAVY, NOT_FOR_FORECAST, loaded_by

QUANTILES = ("p10", "p25", "p50", "p75", "p90")


@pytest.mark.slow
def test_the_demo_makes_a_garden_and_prints_its_forecast(tmp_path: Path) -> None:
    done = flushcast("demo", "--dir", tmp_path / "demo", "--date", "2026-06-14")
    assert done.returncode == 0, done.stderr
    assert "Today: look at these" in done.stdout and "hard about" in done.stdout
    assert "the leaf decides" in done.stdout
    assert "flushcast --garden" in done.stderr  # what to type next
    assert max(map(len, done.stdout.splitlines())) <= 80


@pytest.mark.slow
def test_the_demo_is_the_same_for_the_same_date(tmp_path: Path) -> None:
    texts = {flushcast("demo", "--dir", tmp_path / n, "--date", "2026-06-14").stdout for n in ("a", "b")}
    assert len(texts) == 1


@pytest.mark.slow
def test_the_demo_leaves_another_garden_alone(tmp_path: Path) -> None:
    flushcast("demo", "--dir", tmp_path / "demo", "--date", "2026-06-14")
    done = flushcast("demo", "--dir", tmp_path / "demo", "--date", "2026-05-01")
    assert done.returncode == 1
    assert "another garden" in done.stderr


def forecast(folder: Path, *arguments: object) -> dict:
    done = flushcast("forecast", "--garden", folder, "--json", *arguments)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@cache
def of_the_demo(trees: tuple[str, ...] = ()) -> dict:
    """What the demo garden's forecast says as JSON; nobody may change it."""
    return forecast(demo_folder(trees=trees))


def test_json_keeps_the_contract() -> None:
    answer = of_the_demo()
    assert answer["schema"] == "flushcast.forecast/1"
    assert answer["as_of"] == "2026-06-14" and answer["units"] == "C"
    assert answer["weather"]["through"] == "2026-06-14"
    assert answer["weather"]["days_by_source"] == {"station": 165}
    keys = {
        "tree", "label", "species", "place", "season", "flush", "stage", "operation", "seen", *QUANTILES,
        "day", "p_not", "last_safe", "odds", "looks", "seasons", "prior_share", "trust", "warnings",
    }  # fmt: skip
    for row in answer["rows"]:
        assert keys <= set(row)
        days = [row["day"][q] for q in QUANTILES if row["day"][q] is not None]
        assert days == sorted(days)
        for quantile in QUANTILES:
            if row[quantile]:
                day = date(2026, 1, 1) + timedelta(days=int(np.ceil(row["day"][quantile])) - 1)
                assert row[quantile] == day.isoformat()


def test_rows_come_soonest_first() -> None:
    medians = [row["p50"] for row in of_the_demo()["rows"] if row["p50"]]
    assert medians == sorted(medians)


def test_csv_has_a_line_a_row() -> None:
    rows = of_the_demo(FEW)["rows"]
    done = flushcast("forecast", "--garden", demo_folder(trees=FEW), "--csv")
    table = list(csv.DictReader(io.StringIO(done.stdout)))
    assert [r["label"] for r in table] == [r["label"] for r in rows]
    assert [r["p50"] for r in table] == [r["p50"] or "" for r in rows]


@pytest.mark.slow
def test_as_of_is_what_was_known_then() -> None:
    """A garden asked as of 1 May answers as the garden that only reached 1 May."""
    then = forecast(demo_folder(date(2026, 5, 1)))
    asked = forecast(demo_folder(), "--as-of", "2026-05-01")
    assert asked["as_of"] == "2026-05-01"
    for a, b in zip(asked["rows"], then["rows"], strict=True):
        assert (a["label"], a["stage"], a["p10"], a["p50"], a["p90"]) == (
            b["label"], b["stage"], b["p10"], b["p50"], b["p90"],
        )  # fmt: skip


def test_a_look_moves_the_forecast(tmp_path: Path) -> None:
    """Still soft on the day half of the chance had gone by: the rest moves later."""
    garden = own_demo(tmp_path, trees=FEW)
    before = {r["label"]: r for r in forecast(garden)["rows"] if r["stage"] == "hardened"}["Crab apple"]
    done = flushcast("look", "Crab apple", "extended", "--garden", garden)
    assert done.returncode == 0, done.stderr
    after = {r["label"]: r for r in forecast(garden)["rows"] if r["stage"] == "hardened"}["Crab apple"]
    assert after["seen"][0] == "2026-06-14"
    assert after["day"]["p50"] > before["day"]["p50"]
    assert after["day"]["p10"] > 165  # the past is cut away


@pytest.mark.slow
def test_the_southern_garden_runs_on_its_own_season() -> None:
    answer = forecast(demo_folder(date(2025, 12, 14), south=True))
    assert {row["season"] for row in answer["rows"]} == {"2025/26"}
    hard = [row["p50"] for row in answer["rows"] if row["stage"] == "hardened" and row["p50"]]
    assert hard and all("2025-11-01" < day < "2026-03-01" for day in hard)


def test_degf_changes_what_is_shown_and_nothing_else(tmp_path: Path) -> None:
    garden = own_demo(tmp_path, trees=FEW)
    settings = garden / "garden.toml"
    settings.write_text(settings.read_text().replace('units = "C"', 'units = "F"'))
    answer, celsius = forecast(garden), of_the_demo(FEW)
    assert answer["units"] == "F"
    assert [r["p50"] for r in answer["rows"]] == [r["p50"] for r in celsius["rows"]]


@pytest.mark.parametrize(
    "command, needless",
    [("forecast", NOT_FOR_FORECAST), ("weather status", ("pandas", "scipy")), ("settings", HEAVY)],
)
def test_a_command_loads_nothing_it_does_not_need(command: str, needless: tuple[str, ...]) -> None:
    assert not loaded_by([*command.split(), "--garden", str(demo_folder(trees=FEW))], needless)


def small_garden(
    folder: Path, first: date, last: date, *, trees: int = 1, species: str = "Acer palmatum"
) -> Path:
    """A garden without looks."""
    place = Place("p", "Balcony", 48.0, 8.0)
    rows = [Tree(f"t{n}", f"Tree {n}", species) for n in range(1, trees + 1)]
    stands = [Stand(f"s{n}", f"t{n}", "p") for n in range(1, trees + 1)]
    create_garden(folder, GardenSettings(stands_on=DAY), [place, *rows, *stands], "made")
    if first < last:
        with WeatherStore.open(folder, create=True) as store:
            moment = datetime(2026, 6, 14, tzinfo=UTC)
            store.add("p", synthetic_weather(first, last, 48.0), Origin("file"), fetched_at=moment)
    return folder


@pytest.mark.parametrize(
    ("first", "last", "said"),
    [
        (
            date(2026, 1, 1),
            date(2026, 1, 1),
            "No weather yet: dates rest on the usual warmth of latitude 48",
        ),
        (date(2000, 1, 1), date(2026, 1, 14), "weather ends 151 days ago; the days since are filled"),
        (date(2026, 1, 1), date(2026, 6, 14), "Only 165 days of weather, to 14 Jun: dates rest on that and"),
    ],
)
def test_weather_that_is_short_or_old_is_said_and_there_is_a_forecast(
    tmp_path: Path, first: date, last: date, said: str
) -> None:
    garden = small_garden(tmp_path / "g", first, last)
    done = flushcast("forecast", "--garden", garden)
    assert done.returncode == 0, done.stderr
    assert said in " ".join(done.stdout.split()) and "species guess" in done.stdout


def test_a_garden_without_looks_gets_a_date_that_is_called_a_guess(tmp_path: Path) -> None:
    garden = small_garden(tmp_path / "g", date(2000, 1, 1), DAY)
    for day in (DAY, date(2026, 1, 20)):
        done = flushcast("forecast", "Tree 1", "--garden", garden, "--as-of", day)
        assert done.returncode == 0, done.stderr
        words = " ".join(done.stdout.split())
        assert re.search(r"No look yet this season; \w+[^.]* \([^)]*\)[^.]*, a guess[.;]", words), words


def test_few_past_years_are_said(tmp_path: Path) -> None:
    garden = small_garden(tmp_path / "g", date(2021, 1, 1), DAY)
    done = flushcast("forecast", "--garden", garden)
    assert "only 5 past years of weather" in " ".join(done.stdout.split())


def test_a_garden_of_no_trees_says_so(tmp_path: Path) -> None:
    garden = small_garden(tmp_path / "g", date(2010, 1, 1), DAY, trees=0)
    done = flushcast("forecast", "--garden", garden)
    assert done.returncode == 0
    assert "no trees" in done.stdout


def test_no_garden_is_one_sentence(tmp_path: Path) -> None:
    done = flushcast("forecast", "--garden", tmp_path / "nowhere")
    assert done.returncode == 1
    assert "flushcast init" in done.stderr and "Traceback" not in done.stderr


def test_a_future_as_of_is_refused() -> None:
    done = flushcast("forecast", "--garden", demo_folder(), "--as-of", "2026-07-01")
    assert done.returncode == 1 and "future" in done.stderr


def test_asking_leaves_the_journal_as_it_was(tmp_path: Path) -> None:
    garden = own_demo(tmp_path, trees=FEW)
    with open_journal(garden) as journal:
        before = journal.history()
    flushcast("forecast", "--garden", garden)
    with open_journal(garden) as journal:
        assert journal.history() == before
