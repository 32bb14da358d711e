"""`flushcast region`: maps from an invented climate set, and that a garden there is told the same."""

from __future__ import annotations

import json
import sys
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from data_sources.demo.climate import store_region
from tests.reports.bench import Bench
from tests.reports.demo import demo_folder

LAST = "2026-06-14"
SPECIES = "Acer buergerianum"


@pytest.fixture(scope="module")
def climate(tmp_path_factory) -> Path:
    """Twenty-four years on a grid of 3 x 4 cells, the first of each row sea."""
    path = tmp_path_factory.mktemp("region") / "climate.nc"
    store_region(path, 3, 4, date(2003, 1, 1), date.fromisoformat(LAST))
    return path


@pytest.fixture(scope="module")
def mapped(climate):
    """Its maps, with a picture, by the catalogue; and what was said."""
    out, picture = climate.with_name("maps.nc"), climate.with_name("maps.svg")
    nowhere = Bench(climate.with_name("nothing"))
    said = nowhere.does("region", climate, "--species", "trident maple", "--out", out, "--picture", picture)
    return out, picture, said


def test_it_says_what_the_maps_show(mapped):
    out, _, said = mapped
    first, *lines = said.out.splitlines()
    maps = xr.open_dataset(out, engine="h5netcdf", decode_times=False)
    known = int(maps.days_unknown.notnull().sum())
    assert first == (
        f"{SPECIES} in {known} cells, {12 - known} without weather, as known on 14 Jun 2026, by the "
        "catalogue alone."
    )
    middle = date.fromordinal(date(2026, 1, 1).toordinal() + int(maps.hardened.sel(level=0.5).median()))
    assert f"middle cell {middle.day} {middle:%b}." in next(x for x in lines if "Leaves hard" in x)
    assert "the leaf decides" in said.err


def test_a_cell_is_what_a_garden_there_is_told(mapped, climate, tmp_path):
    """A bench with the weather of one cell and a tree nobody has looked at."""
    cell = {"lat": 1, "lon": 2}
    weather = xr.open_dataset(climate, engine="h5netcdf").isel(cell)
    there = xr.open_dataset(mapped[0], engine="h5netcdf").isel(cell)
    days = pd.DataFrame({name: weather[f"tas{name[1:]}"] - 273.15 for name in ("tmin", "tmax")})
    days.index = weather.indexes["time"].rename("date")
    days.to_csv(tmp_path / "cell.csv")
    bench = Bench(tmp_path / "garden", today=LAST)
    where = ["--lat", float(weather.lat), "--lon", float(weather.lon)]
    bench.does("init", tmp_path / "garden", "--name", "There", *where, "--tree", f"Maple={SPECIES}")
    bench.does("weather", "add", tmp_path / "cell.csv", "--units", "C")
    rows = json.loads(bench.does("forecast", "--json").out)["rows"]
    for stage in ("budbreak", "extended", "hardened"):
        told = next(row for row in rows if row["stage"] == stage)
        for level, name in ((0.1, "p10"), (0.5, "p50"), (0.9, "p90")):
            assert str(there[stage].sel(level=level).dt.date.item()) == told[name], (stage, name)
    assert str(there.last_safe.dt.date.item()) == told["last_safe"]


def test_the_picture_says_in_words_what_it_shows(mapped):
    _, picture, said = mapped
    drawn = picture.read_text(encoding="utf-8")
    assert f'<title id="what">{SPECIES} in' in drawn
    assert f"Wrote {picture}." in said.err


def garden():
    """One maple of the demo garden on the day before."""
    return Bench(demo_folder(date(2026, 6, 13), trees=("Maple 1",)), today=LAST)


def test_a_garden_teaches_and_zarr_is_written(climate, tmp_path):
    said = garden().does(
        "region", climate, "--species", "trident", "--out", tmp_path / "m.zarr", "--cut", "1 July"
    )
    assert "by a garden's looks." in said.out
    maps = xr.open_zarr(tmp_path / "m.zarr")
    assert maps.attrs["calibration"] == "looks of a garden"
    assert "on 07-01" in maps.second_flush_ripens.long_name
    assert bool(np.isfinite(maps.second_flush_ripens).any())


@pytest.mark.parametrize(
    "more, words",
    [
        (["--out", "maps.csv"], "maps are written as .nc (NetCDF) or .zarr, not as 'maps.csv'"),
        (["--as-of", "1999-05-01"], "the set has weather from 1 Jan 2003 to 14 Jun 2026; 1 May 1999 lies"),
        (["--calibration", "garden", "--species", "common fig"], "no tree of the garden is"),
        (["--species", "dragon tree"], "there is no species called 'dragon tree'"),
        (["--scheduler", "tcp://127.0.0.1:9"], "no work can be shared out"),
    ],
)
def test_what_cannot_be_mapped_is_said_in_words(climate, tmp_path, monkeypatch, more, words):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("reports.cli.telling.region_command.CONNECT", 0.3)
    usual = ["--species", "trident", "--out", tmp_path / "maps.nc"]
    refused = garden().refuses("region", climate, *usual, *more)
    assert words in refused
    assert not list(tmp_path.iterdir())


def test_the_climate_set_is_not_written_over(climate, tmp_path):
    before = climate.read_bytes()
    bench = Bench(tmp_path / "nothing")
    refused = bench.refuses("region", climate, "--species", "trident", "--out", climate)
    assert "is the climate set itself" in refused and climate.read_bytes() == before


def test_without_the_extra_it_says_what_to_install(climate, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "xarray", None)
    bench = Bench(tmp_path / "nothing")
    refused = bench.refuses("region", climate, "--species", "trident", "--out", tmp_path / "maps.nc")
    assert "pip install 'flushcast[region]'" in refused


@pytest.mark.slow
def test_a_cluster_of_two_workers_makes_the_same_maps(mapped, climate, tmp_path):
    """Two processes of little memory, and blocks of a few cells."""
    Bench(tmp_path / "nothing").does(
        "region", climate, "--species", "trident maple", "--out", tmp_path / "maps.zarr",
        "--workers", 2, "--memory", "1GB", "--block", "500kB",
    )  # fmt: skip
    here = xr.open_dataset(mapped[0], engine="h5netcdf")
    xr.testing.assert_allclose(xr.open_zarr(tmp_path / "maps.zarr").compute(), here)
