"""The heat curve agrees with the clocks and with the method page; the station chart with the readings."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import matplotlib
import numpy as np
import pytest

from data_sources.weather.place_correction import refit_corrections
from data_sources.weather.store.weather_store import Origin, WeatherStore
from phenology.heat.clocks import HEAT_CLOCKS
from phenology.seasons.season_heat import heat_course
from phenology.weather.series import DailyWeather
from reports.charts.weather_charts import (
    DAYS,
    NIGHTS,
    describe_heat_curve,
    describe_station,
    differences,
    plot_heat_curve,
    plot_seasons,
    plot_station,
)
from reports.garden.place_weather import station_pair
from tests.reports.bench import Bench, new_bench
from tests.reports.demo import DAY, demo_folder, own_demo
from tests.reports.opened import read_garden

matplotlib.use("Agg")

ROOT = Path(__file__).resolve().parents[2]
NOON = datetime(2026, 6, 14, 12, tzinfo=UTC)
BY_DAY, BY_NIGHT = 2.0, -1.0  # how a bench by a wall, in a hollow, differs from the station


def own_readings(folder, days=200):
    """Keep readings that differ from the station by the figures above; returns the place."""
    garden, _ = read_garden(folder, DAY)
    place = garden.places[0]
    with WeatherStore.open(folder) as store:
        station = store.read_source(place.id, "station")
        there = station.between(DAY - timedelta(days=days), DAY)
        own = DailyWeather(there.first_day, there.tmin + BY_NIGHT, there.tmax + BY_DAY, "bench")
        store.add(place.id, own, Origin("file", "own"), fetched_at=NOON)
        refit_corrections(folder, store, place.id)
    return place


def line(ax, label):
    return next(one for one in ax.lines if one.get_label() == label)


@pytest.mark.parametrize("units, at", [("C", 18.0), ("F", 64.4)])
def test_every_clock_counts_one_at_the_reference(units, at):
    ax = plot_heat_curve(units=units)
    curves = [one for one in ax.lines if len(one.get_xdata()) > 100]
    assert len(curves) == len(HEAT_CLOCKS)
    for curve in curves:
        assert np.interp(at, curve.get_xdata(), curve.get_ydata()) == pytest.approx(1.0)
    assert f"agree at {at:g} °{units}" in describe_heat_curve(units)


def test_clocks_that_fall_stand_still_in_great_heat():
    ax = plot_heat_curve()
    still = [one for one in ax.lines if "none at 42" in str(one.get_label())]
    assert len(still) == 3
    for curve in still:
        assert curve.get_ydata()[-1] < 0.05 and max(curve.get_ydata()) > 1.3


def test_the_method_page_shows_the_curve_as_it_is_drawn_now():
    """Redraw it with `flushcast chart heat-curve --out docs/images/heat-curve.svg` when the clocks change."""
    title = ET.parse(ROOT / "docs/images/heat-curve.svg").getroot().find("{http://www.w3.org/2000/svg}title")
    assert title is not None and title.text == describe_heat_curve()
    assert "](images/heat-curve.svg)" in (ROOT / "docs/method.md").read_text(encoding="utf-8")


def test_the_heat_curve_needs_no_garden(tmp_path):
    said = Bench(tmp_path / "none").does("chart", "heat-curve", "--out", tmp_path / "h.svg").words
    assert "agree at 18 °C" in said


def test_each_reading_is_a_point_and_the_learned_difference_a_line(tmp_path):
    folder = own_demo(tmp_path)
    pair = station_pair(folder, own_readings(folder))
    days, gap = differences(pair, DAYS)
    assert len(days) == 201 and gap == pytest.approx(np.full(201, BY_DAY), abs=0.05)
    assert differences(pair, NIGHTS)[1].mean() == pytest.approx(BY_NIGHT, abs=0.05)
    ax = plot_station(pair)
    assert np.mean(line(ax, "days, learned").get_ydata()) == pytest.approx(BY_DAY, abs=0.3)
    assert np.mean(line(ax, "nights, learned").get_ydata()) == pytest.approx(BY_NIGHT, abs=0.3)
    fahrenheit = line(plot_station(pair, units="F"), "days, each reading").get_ydata()
    assert fahrenheit == pytest.approx(1.8 * gap)
    assert "nights here 1.0" in describe_station(pair) and "201 days" in describe_station(pair)


def test_two_readings_are_shown_and_teach_nothing_yet(tmp_path):
    folder = own_demo(tmp_path)
    pair = station_pair(folder, own_readings(folder, days=1))
    assert pair.learned is None and "too few to learn" in describe_station(pair)
    assert not [one for one in plot_station(pair).lines if "learned" in str(one.get_label())]


def test_a_correction_learned_later_is_forgotten(tmp_path):
    folder = own_demo(tmp_path)
    place = own_readings(folder)
    pair = station_pair(folder, place, DAY - timedelta(days=30))
    assert pair.learned is None and len(differences(pair, DAYS)[0]) == 171


def test_the_command_draws_it_or_says_what_is_missing(tmp_path):
    bench = Bench(own_demo(tmp_path), today=DAY.isoformat())
    assert "no readings of its own" in bench.refuses("chart", "station", "--out", tmp_path / "s.svg")
    own_readings(bench.folder)
    assert "Larkfield benches" in bench.does("chart", "station", "--out", tmp_path / "s.svg").err
    assert bench("chart", "seasons", "--place", "x", "--out", tmp_path / "s.svg").code == 2
    empty = new_bench(tmp_path / "new")
    assert empty.refuses("chart", "station", "--out", tmp_path / "s.svg")


def test_above_the_seasons_stands_how_far_ahead_each_has_been():
    garden = read_garden(demo_folder(), DAY)[0]
    ax = plot_seasons(garden)
    (strip,) = ax.child_axes
    curves = [one for one in strip.lines if len(one.get_xdata()) > 100]
    assert len(curves) == 4  # three past seasons and this one
    assert curves[-1].get_ydata()[-1] == pytest.approx(heat_course(garden).lead)
    assert {t.get_text() for t in strip.texts} == {"2023", "2024", "2025", "5 days ahead of usual"}


def test_in_winter_the_strip_says_so_and_draws_no_lead():
    garden = read_garden(demo_folder(), date(2026, 1, 20), past=True)[0]
    (strip,) = plot_seasons(garden).child_axes
    assert "too cool a time of year" in strip.texts[-1].get_text().lower()
    assert np.isnan(strip.lines[-1].get_ydata()).all()
