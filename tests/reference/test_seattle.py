"""A garden on a real daily record: Seattle 2012-2015, as `vega_datasets` carries it (NOAA, public domain)."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
from vega_datasets import data

from data_sources.garden import GardenSettings, create_garden
from data_sources.weather.store.records import Origin
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.records import Place, Stand, Tree
from phenology.weather.series import DailyWeather
from tests.reports.demo import flushcast

TODAY = date(2015, 6, 10)


def test_a_forecast_on_about_three_real_years_says_that_they_are_few(tmp_path: Path) -> None:
    frame = data.seattle_weather().sort_values("date")
    frame = frame[frame["date"] <= TODAY.isoformat()]
    tmin, tmax = frame["temp_min"].to_numpy(), frame["temp_max"].to_numpy()
    weather = DailyWeather(date(2012, 1, 1), tmin, tmax, "station")
    assert weather.last_day == TODAY and np.isfinite(tmin).all()
    garden = tmp_path / "seattle"
    place = Place("p", "Porch", 47.6, -122.3)
    settings = GardenSettings(name="Porch", units="F", stands_on=TODAY)
    create_garden(
        garden, settings, [place, Tree("t", "Maple", "Acer palmatum"), Stand("s", "t", "p")], "made"
    )
    with WeatherStore.open(garden, create=True) as store:
        store.add("p", weather, Origin("file"), fetched_at=datetime(2015, 6, 10, tzinfo=UTC))
    flushcast("look", "Maple", "budbreak", "--date", "2015-03-25", "--garden", garden)
    done = flushcast("forecast", "--garden", garden)
    assert done.returncode == 0, done.stderr
    said = " ".join(done.stdout.split())
    assert "Only 3 years of weather, to 10 Jun: dates rest on that and the usual warmth" in said
    assert "species guess" in said
