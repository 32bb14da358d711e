"""Forecast days of the store in `flushcast forecast`: which forecast is used, and what is said of it."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from data_sources.demo.climate import synthetic_weather
from data_sources.garden import GardenSettings, create_garden
from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.model.records import Place, Stand, Tree
from phenology.weather.series import DailyWeather
from tests.reports.demo import FEW, demo_folder, flushcast
from tests.reports.opened import read_garden

DAY = date(2026, 6, 14)
NOON = datetime(2026, 6, 14, 12, tzinfo=UTC)
FORECASTER = Origin("service", "a forecast", "Forecast by an invented service")


def promise(issued: date, tmax: float, days: int = 10, wobble: float = 0.0) -> DailyWeather:
    """A forecast of one temperature for every day."""
    high = tmax + wobble * np.sin(np.arange(days))
    return DailyWeather(issued + timedelta(days=1), high - 12, high, "forecast")


@pytest.fixture
def garden(tmp_path: Path) -> Path:
    """One maple, weather to 14 June; on 4 June 20 °C was forecast, on 12 June 33 °C."""
    folder = tmp_path / "garden"
    records = [Place("p", "Balcony", 48.0, 8.0), Tree("t", "Maple", "Acer palmatum"), Stand("s", "t", "p")]
    create_garden(folder, GardenSettings(stands_on=DAY), records, "made")
    with WeatherStore.open(folder, create=True) as store:
        measured = synthetic_weather(date(2000, 1, 1), DAY, 48.0)
        store.add("p", measured, Origin("file", "", "Measured by an invented club"), fetched_at=NOON)
        for issued, tmax in ((date(2026, 6, 4), 20.0), (date(2026, 6, 12), 33.0)):
            store.add_forecast("p", promise(issued, tmax), FORECASTER, fetched_at=NOON, issued=issued)
    return folder


def test_today_goes_by_the_newest_forecast(garden: Path) -> None:
    snapshot, _ = read_garden(garden, DAY)
    assert snapshot.forecast_through() == date(2026, 6, 22)
    assert snapshot.weather["p"].tmax[-1] == 33.0
    assert snapshot.outlooks["p"].issued == date(2026, 6, 12)


@pytest.mark.parametrize(
    ("as_of", "tmax", "through"),
    [(date(2026, 6, 5), 20.0, date(2026, 6, 14)), (date(2026, 6, 12), 33.0, date(2026, 6, 22))],
)
def test_as_of_goes_by_the_newest_forecast_issued_by_then(
    garden: Path, as_of: date, tmax: float, through: date
) -> None:
    snapshot, _ = read_garden(garden, as_of, past=True)
    assert snapshot.forecast_through() == through
    assert snapshot.weather["p"].tmax[-1] == tmax
    assert snapshot.weather_through() == as_of


def test_before_the_first_forecast_there_is_none(garden: Path) -> None:
    snapshot, _ = read_garden(garden, date(2026, 6, 3), past=True)
    assert snapshot.forecast_through() is None and not snapshot.outlooks


def test_skill_is_what_was_known_by_then(garden: Path) -> None:
    """The forecast of 4 June had missed by 12 June; on the 4th nobody could know."""
    early, late = (
        read_garden(garden, day, past=True)[0].outlooks["p"].skill
        for day in (date(2026, 6, 4), date(2026, 6, 12))
    )
    assert early.errors.max() == 0 < late.errors.max()


def test_members_of_an_ensemble_are_read(garden: Path) -> None:
    with WeatherStore.open(garden) as store:
        members = [promise(DAY, tmax, 7, wobble) for tmax, wobble in ((18.0, 1.0), (24.0, -2.0), (28.0, 0.0))]
        store.add_forecast("p", promise(DAY, 23.0), FORECASTER, fetched_at=NOON, issued=DAY, members=members)
    assert len(read_garden(garden, DAY)[0].outlooks["p"].members) == 3
    assert not read_garden(garden, date(2026, 6, 12), past=True)[0].outlooks["p"].members
    assert flushcast("forecast", "--garden", garden).returncode == 0


def test_json_counts_the_days_by_source_and_names_whom_they_are_from(garden: Path) -> None:
    done = flushcast("forecast", "--garden", garden, "--json")
    assert done.returncode == 0, done.stderr
    weather = json.loads(done.stdout)["weather"]
    assert weather == {
        "through": "2026-06-14",
        "days_by_source": {"station": 165, "forecast": 8},
        "attribution": ["Measured by an invented club", "Forecast by an invented service"],
    }


def test_the_text_says_how_far_the_forecast_reaches_and_closes_with_the_sources(garden: Path) -> None:
    lines = flushcast("forecast", "--garden", garden).stdout.splitlines()
    assert max(map(len, lines)) <= 80
    words = " ".join(lines)
    assert "Weather to Sun 14 Jun, a forecast to Mon 22 Jun, then 26 past years" in " ".join(words.split())
    assert lines[-1] == "Weather: Measured by an invented club; Forecast by an invented service."


def test_weather_that_asks_for_no_line_gets_none() -> None:
    assert "Weather:" not in flushcast("forecast", "--garden", demo_folder(trees=FEW)).stdout


def test_forecasts_of_more_than_a_year_ago_no_longer_count(garden: Path) -> None:
    """A service that once missed by ten degrees every day of ten: long ago it does not matter."""
    long_ago = date(2024, 6, 1)
    before = read_garden(garden, DAY)[0].outlooks["p"].skill
    with WeatherStore.open(garden) as store:
        store.add_forecast("p", promise(long_ago, 45.0), FORECASTER, fetched_at=NOON, issued=long_ago)
    after = read_garden(garden, DAY)[0].outlooks["p"].skill
    assert after.errors.tolist() == before.errors.tolist()
    then = read_garden(garden, date(2024, 6, 12), past=True)[0].outlooks["p"].skill
    assert then.errors.max() == 1 and then.sd_at(5) > before.sd_at(5)
