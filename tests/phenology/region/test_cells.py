"""Every cell of a region gets the forecast that a garden there would get."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest
import xarray as xr

from phenology.forecasting.flush_forecast import FlushForecasts
from phenology.garden import Garden
from phenology.learning.garden_fit import GardenFit
from phenology.model.records import Place
from phenology.model.season import SeasonCalendar
from phenology.region.cells import LEVELS, LIMITS, CellForecasts
from phenology.region.maps import region_maps
from phenology.species.catalogue import load_species
from phenology.weather.series import DailyWeather
from phenology.work.last_safe import WorkSeason
from tests.phenology.gardens import ELM, Records, weather

AS_OF = date(2020, 6, 14)  # in a leap year
CELLS = {(0, 0): 48.0, (0, 2): 48.0, (1, 0): -40.0, (1, 1): -40.0, (1, 2): -40.0, (2, 0): 8.0, (2, 2): 8.0}
SEA = (0, 1), (2, 1)
SPECIES = load_species()[ELM]


def series(cell: tuple[int, int]) -> DailyWeather:
    return weather(CELLS[cell], seed=3 + cell[1])


@pytest.fixture(scope="module")
def grid() -> xr.Dataset:
    """Three latitudes, one of them southern and one near the equator; some cells are sea, one has gaps."""
    first = series((0, 0))
    time = pd.date_range(first.first_day, periods=len(first), name="time")
    low, high = np.full((2, len(time), 3, 3), np.nan)
    for cell in CELLS:
        low[:, *cell], high[:, *cell] = series(cell).tmin, series(cell).tmax
    low[800:830, 0, 2] = np.nan
    dims = ("time", "y", "x")
    return xr.Dataset(
        {"tmin": (dims, low), "tmax": (dims, high)},
        {"time": time, "latitude": ("y", [48.0, -40.0, 8.0])},
    )


@pytest.fixture(scope="module")
def maps(grid: xr.Dataset) -> xr.Dataset:
    return region_maps(grid, CellForecasts(SPECIES, AS_OF))


def garden_in(grid: xr.Dataset, cell: tuple[int, int]) -> Garden:
    """A garden of one unseen tree with the weather of a cell."""
    latitude, there = CELLS[cell], {"y": cell[0], "x": cell[1]}
    records = Records(SeasonCalendar.for_latitude(latitude), [Place("bench", "Bench", latitude, 7.0)])
    records.tree("elm")
    tmin, tmax = grid.tmin.isel(there).to_numpy(), grid.tmax.isel(there).to_numpy()
    return records.garden(
        AS_OF, weather={"bench": DailyWeather(series(cell).first_day, tmin, tmax, "station")}
    )


def told_in(garden: Garden, fit: GardenFit) -> dict[str, object]:
    """What the garden's own forecast says, as dates and odds."""
    forecasts, (tree,) = FlushForecasts(garden, fit), garden.trees
    history = forecasts.unseen(tree, garden.season)
    start, hard, found = garden.calendar.start(garden.season), np.nan, {}
    for ahead in forecasts.ahead(history, garden.today):
        for level in LEVELS:
            t = ahead.arrival.quantile(level)
            found[ahead.stage, level] = pd.Timestamp(start) + pd.Timedelta(days=t) if t < np.inf else pd.NaT
        hard = ahead.arrival.quantile(0.5)
    late = WorkSeason(garden, fit, forecasts.drawn).late(ELM, history.site)
    return {**found, "last safe": late.last_safe(), "odds": late.curve.odds(hard), "limit": late.stop().limit}


def shown_in(maps: xr.Dataset, cell: tuple[int, int]) -> dict[str, object]:
    """What the maps show there."""
    here = xr.decode_cf(maps.isel(y=cell[0], x=cell[1]))
    stages = ("budbreak", "extended", "hardened")
    dates = {(s, p): pd.Timestamp(here[s].sel(level=p).item()) for s in stages for p in LEVELS}
    safe = pd.Timestamp(here.last_safe.item())
    return {
        **dates,
        "last safe": None if safe is pd.NaT else safe.date(),
        "odds": here.second_flush_ripens.item(),
        "limit": LIMITS[int(here.last_safe_limit.item())],
    }


def assert_same(shown: dict[str, object], told: dict[str, object]) -> None:
    assert shown.keys() == told.keys()
    for name, there in told.items():
        if isinstance(there, pd.Timestamp):
            assert abs(shown[name] - there) < timedelta(seconds=1), name
        else:
            assert shown[name] == pytest.approx(there) if isinstance(there, float) else shown[name] == there


@pytest.mark.parametrize("cell", [(0, 0), (0, 2), (1, 1), (2, 2)])
def test_every_cell_is_the_forecast_of_a_garden_there(grid, maps, cell):
    """North, north with gaps, south (whose season began last July), and near the equator."""
    garden = garden_in(grid, cell)
    told = told_in(garden, GardenFit(garden))
    assert not pd.isna(told["hardened", 0.5])
    assert_same(shown_in(maps, cell), told)
    assert (garden.season == 2019) == (CELLS[cell] < 0)


def test_the_sea_is_blank(maps):
    for y, x in SEA:
        there = maps.isel(y=y, x=x)
        assert all(np.isnan(there[name]).all() for name in there.data_vars)


def test_days_unknown_are_counted(maps):
    assert maps.days_unknown.isel(y=0).values.tolist() == pytest.approx([0, np.nan, 30], nan_ok=True)


def test_blocks_on_dask_are_the_same_maps(grid, maps):
    lazy = region_maps(grid.chunk({"time": -1, "y": 2, "x": 1}), CellForecasts(SPECIES, AS_OF))
    assert all(lazy[name].chunks for name in lazy.data_vars)
    xr.testing.assert_identical(lazy.compute(scheduler="synchronous"), maps)


def test_a_day_whose_minimum_lies_above_its_maximum_counts_as_unknown(grid):
    one = grid.isel(y=[0], x=[0]).copy(deep=True)
    one.tmin[5000] = 60.0
    forecasts = CellForecasts(SPECIES, AS_OF)
    crossed = region_maps(one, forecasts)
    one.tmin[5000] = one.tmax[5000] = np.nan
    assert crossed.days_unknown.item() == 1
    xr.testing.assert_identical(crossed, region_maps(one, forecasts))


def taught(*seasons: int) -> Records:
    """A garden in the north whose elms are far slower than the catalogue says."""
    records = Records.of("a")
    for season in seasons:
        records.a_season("a", season, 120, 165, 195)
    return records


def test_a_garden_teaches_every_cell(grid, maps):
    calibration = taught(*range(2012, 2020)).garden(AS_OF)
    slow = region_maps(grid.isel(x=[0]), CellForecasts(SPECIES, AS_OF, calibration))
    for cell in ((0, 0), (1, 0)):
        here = garden_in(grid, cell)
        known = calibration.known_on(calibration.calendar.start(here.season))
        fit = GardenFit(replace(known, trees=[*known.trees, *here.trees]))
        assert_same(shown_in(slow, cell), told_in(here, fit))
    assert (slow.hardened.sel(level=0.5) > maps.hardened.sel(level=0.5).isel(x=[0]) + 5).isel(y=0).all()


def test_looks_of_the_same_season_teach_nothing_elsewhere(grid):
    """What was particular to this season at the garden is not carried to other places."""
    here = grid.isel(y=[0], x=[0])
    with_looks, without = (
        region_maps(here, CellForecasts(SPECIES, AS_OF, taught(*seasons).garden(AS_OF)))
        for seasons in (range(2014, 2021), range(2014, 2020))
    )
    xr.testing.assert_allclose(with_looks, without)


def test_the_second_flush_may_be_woken_on_a_day_of_the_season(grid):
    garden = garden_in(grid, (1, 1))
    fit = GardenFit(garden)
    site = garden.site(garden.trees[0], garden.season)
    late = WorkSeason(garden, fit, FlushForecasts(garden, fit).drawn).late(ELM, site)
    forecasts = replace(CellForecasts(SPECIES, AS_OF), cut=date(2020, 2, 20))
    maps = region_maps(grid.isel(y=[1], x=[1]), forecasts)
    day = (date(2020, 2, 20) - date(2019, 7, 1)).days + 1
    assert maps.second_flush_ripens.item() == pytest.approx(late.curve.odds(day))
    assert "02-20" in maps.second_flush_ripens.long_name


def test_maps_say_what_they_are(maps):
    assert maps.attrs["Conventions"] == "CF-1.11" and "the leaf decides" in maps.attrs["comment"]
    assert maps.hardened.units == "days since 2020-01-01"
    assert {v.attrs["units"] for name, v in maps.items() if name.endswith("chance")} == {"1"}
    meanings = maps.last_safe_limit.flag_meanings.split()
    assert len(meanings) == len(maps.last_safe_limit.flag_values) == len(LIMITS)
