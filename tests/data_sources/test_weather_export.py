"""Weather goes out with a garden's export and comes back with it."""

from __future__ import annotations

from datetime import UTC, date, datetime

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from data_sources.garden import create_garden, open_journal
from data_sources.garden import read_settings as settings_of
from data_sources.garden_export import export_garden, rebuild_garden
from data_sources.garden_settings import SETTINGS_NAME, GardenSettings
from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.model.errors import InputError
from phenology.model.records import Place
from phenology.model.season import SeasonCalendar
from phenology.weather.series import DailyWeather

AT = datetime(2026, 7, 25, 12, tzinfo=UTC)
PLACES = [Place("p1", "Bench / south", 47.2, 8.3), Place("p2", "Bench, south!", 47.2, 8.3)]
LOW = np.array([1.25, np.nan, -0.1, 4.0])
HIGH = np.array([11.0, np.nan, 9.3, np.nan])
STATION = DailyWeather(date(2024, 2, 28), LOW, HIGH, "station")
BENCH = DailyWeather(date(2024, 3, 1), np.array([2.0]), np.array([14.0]), "bench")


@pytest.fixture
def garden(tmp_path):
    folder = tmp_path / "garden"
    create_garden(folder, GardenSettings(), PLACES, "made")
    with WeatherStore.open(folder, create=True) as store:
        store.add("p1", STATION, Origin("x", "s1", "Weather of the invented service"), fetched_at=AT)
        store.add("p1", BENCH, Origin("file", "mine.csv"), fetched_at=AT)
        store.add("p2", STATION, Origin("x", "s1"), fetched_at=AT)
    return folder


def export(garden, to):
    with open_journal(garden) as journal:
        return export_garden(to, journal, garden / SETTINGS_NAME, SeasonCalendar())


def test_a_file_for_each_place_and_source(garden, tmp_path):
    counts = export(garden, tmp_path / "out")
    assert counts["weather.csv"] == 7
    names = sorted(p.name for p in (tmp_path / "out").glob("weather-*"))
    assert names == [
        "weather-bench-south-2-station.csv",
        "weather-bench-south-bench.csv",
        "weather-bench-south-station.csv",
    ]
    text = (tmp_path / "out" / "weather-bench-south-station.csv").read_text(encoding="utf-8")
    assert text.splitlines() == [
        "date,tmin,tmax",
        "2024-02-28,1.25,11.0",
        "2024-03-01,-0.1,9.3",
        "2024-03-02,4.0,",
    ]


def test_weather_comes_back_as_it_was_with_who_is_to_be_thanked(garden, tmp_path):
    export(garden, tmp_path / "out")
    counts = rebuild_garden(tmp_path / "new", tmp_path / "out")
    assert counts["days"] == 7 and settings_of(tmp_path / "new") == settings_of(garden)
    with WeatherStore.open(garden) as old, WeatherStore.open(tmp_path / "new") as new:
        for place in ("p1", "p2"):
            for source in ("station", "bench"):
                a, b = old.read_source(place, source), new.read_source(place, source)
                if a is None:
                    assert b is None
                    continue
                assert a.first_day == b.first_day
                assert_array_equal(a.tmin, b.tmin)
                assert_array_equal(a.tmax, b.tmax)
        assert new.attribution_lines("p1") == old.attribution_lines("p1")


def test_a_garden_without_weather_and_an_older_export_are_whole_too(garden, tmp_path):
    (garden / "weather.sqlite").unlink()
    assert export(garden, tmp_path / "out")["weather.csv"] == 0
    (tmp_path / "out" / "weather.csv").unlink()
    assert rebuild_garden(tmp_path / "new", tmp_path / "out")["days"] == 0
    assert not (tmp_path / "new" / "weather.sqlite").exists()


@pytest.mark.parametrize(
    "text, sentence",
    [
        (
            "date,tmin,tmax\n2024-02-28,cold,5\n",
            "line 2, column tmin: 'cold' is not a number; write one such as 14.2",
        ),
        ("date,tmin,tmax\n", "has column names and no rows"),
        (None, "there is no weather file"),
    ],
)
def test_weather_that_cannot_be_read_makes_no_garden(garden, tmp_path, text, sentence):
    export(garden, tmp_path / "out")
    path = tmp_path / "out" / "weather-bench-south-bench.csv"
    path.unlink() if text is None else path.write_text(text)
    with pytest.raises(InputError, match=sentence):
        rebuild_garden(tmp_path / "new", tmp_path / "out")
    assert not (tmp_path / "new").exists()
