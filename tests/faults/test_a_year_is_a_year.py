"""`compare` to a date is the sum of the exported days to that date, leap years included."""

from __future__ import annotations

import csv
import json
import math
from datetime import date
from pathlib import Path

import pytest

from phenology.model.season import SeasonCalendar
from tests.reports.bench import Bench
from tests.reports.demo import FEW, own_demo


def single_sine(low: float, high: float, base: float = 5.0) -> float:
    """Degree-days of one day under a sine between its extremes, written anew (Baskerville & Emin 1969)."""
    mean, half = (low + high) / 2, (high - low) / 2
    if low >= base:
        return mean - base
    if high <= base:
        return 0.0
    angle = math.asin((base - mean) / half)
    return ((mean - base) * (math.pi / 2 - angle) + half * math.cos(angle)) / math.pi


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> tuple[list[dict[str, object]], dict[int, float]]:
    """What `compare` tells of seven seasons, and each season's sum to 14 June from the exported files."""
    folder = tmp_path_factory.mktemp("year")
    bench = Bench(own_demo(folder, trees=FEW), "2026-06-14")
    seasons = range(2019, 2027)
    answer = json.loads(bench.does("compare", *seasons, "--json").out)
    bench.does("export", folder / "out")
    days: dict[date, tuple[float, float]] = {}
    for kind in ("station", "bench"):
        for file in sorted((folder / "out").glob(f"weather-*-{kind}.csv")):
            with file.open(newline="") as rows:
                for row in csv.DictReader(rows):
                    days[date.fromisoformat(row["date"])] = float(row["tmin"]), float(row["tmax"])
    sums = {
        season: sum(
            single_sine(*at) for day, at in days.items() if date(season, 1, 1) <= day <= date(season, 6, 14)
        )
        for season in range(1997, 2027)
    }
    return answer["seasons"], sums


def test_warmth_to_a_date_is_the_sum_of_the_days_to_that_date(
    told: tuple[list[dict[str, object]], dict[int, float]],
) -> None:
    warmth, sums = told
    assert {row["season"] for row in warmth} >= {"2020", "2024"}  # leap years
    for row in warmth:
        season = int(str(row["season"]))
        assert row["through"] == f"{season}-06-14"
        assert float(str(row["degree_days"])) == pytest.approx(sums[season], abs=0.06)


def test_a_leap_year_keeps_its_rank(told: tuple[list[dict[str, object]], dict[int, float]]) -> None:
    warmth, sums = told
    for row in warmth:
        mine = sums[int(str(row["season"]))]
        warmer = sum(heat > mine for heat in sums.values())
        assert (
            warmer <= int(str(row["rank_of_all"])) - 1 <= warmer + 1
        )  # the export may lack the oldest season


def test_every_date_of_a_year_is_the_same_date_in_another() -> None:
    for calendar in (SeasonCalendar(), SeasonCalendar(7, 1), SeasonCalendar(3, 1)):
        for season in range(2015, 2030):
            leap = calendar.leap_day(season)
            if leap is not None:
                assert (calendar.date(season, leap).month, calendar.date(season, leap).day) == (2, 29)
            for n in range(calendar.length(2023)):
                when = calendar.date(2023, n + 1)
                there = calendar.date(season, calendar.same_day(when, season))
                assert (there.month, there.day) in ((when.month, when.day), (2, 28))
                assert calendar.season_of(there) == season


def test_half_years_of_weather_elsewhere_are_one_sentence(tmp_path: Path) -> None:
    bench = Bench(own_demo(tmp_path, trees=FEW), "2026-06-14")
    for first, last, ways in ((1, 6, ([], ["--csv"])), (7, 12, ([], ["--from-here"]))):
        file = tmp_path / "half.csv"
        rows = [f"{y}-{m:02d}-{d:02d},{5 + d % 4},{15 + d % 6}" for y in range(2015, 2026)
                for m in range(first, last + 1) for d in range(1, 28)]  # fmt: skip
        file.write_text("\n".join(["date,tmin,tmax", *rows]) + "\n")
        for more in ways:
            asked = ["Chur", "--date", "15 May", "--operation", "cutback", "--weather", file, "--units", "C"]
            answer = bench("elsewhere", *asked, *more)
            assert answer.code in (0, 1)
            assert answer.code == 0 or "whole year" in answer.words
