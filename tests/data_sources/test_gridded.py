"""Climate sets on grids: what is read whatever its shape, and what is refused in words."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from data_sources.demo.climate import store_region
from data_sources.gridded.reading import open_grid
from data_sources.gridded.writing import check_ending, read_maps, write_maps
from phenology.model.errors import InputError, StoreError, WeatherError

FIRST, LAST = date(2019, 3, 1), date(2021, 2, 28)  # holds a leap day


@pytest.fixture(scope="module")
def made(tmp_path_factory) -> xr.Dataset:
    """An invented region of 4 x 5 cells, as it is read from its own file."""
    path = tmp_path_factory.mktemp("grid") / "region.nc"
    store_region(path, 4, 5, FIRST, LAST, "float64")
    return xr.open_dataset(path, engine="h5netcdf").load()


@pytest.fixture(scope="module")
def truth(made) -> np.ndarray:
    """Its minima. [degC]"""
    return made.tasmin.to_numpy() - 273.15


def kept(made: xr.Dataset, path: Path) -> Path:
    """A set written to a file."""
    if path.suffix == ".zarr":
        made.drop_encoding().to_zarr(path, zarr_format=2)
    else:
        made.drop_encoding().to_netcdf(path, engine="h5netcdf")
    return path


def in_units(made: xr.Dataset, unit: str | None, factor: float, offset: float) -> xr.Dataset:
    """The same in another unit; None leaves the attribute out."""
    celsius = made - 273.15
    changed = celsius * factor + offset
    for name in changed.data_vars:
        changed[name].attrs = {} if unit is None else {"units": unit}
    return changed.assign_coords(made.coords)


@pytest.mark.parametrize(
    "unit, factor, offset",
    [("K", 1, 273.15), ("degC", 1, 0), ("degrees Celsius", 1, 0), ("degF", 1.8, 32), ("fahrenheit", 1.8, 32)],
)
def test_units_are_read_from_their_attribute(made, truth, tmp_path, unit, factor, offset):
    grid = open_grid([kept(in_units(made, unit, factor, offset), tmp_path / "a.nc")], units="C")
    assert np.allclose(grid.tmin.to_numpy(), truth, atol=1e-9, equal_nan=True)
    assert grid.tmin.units == "degC"


def test_units_that_nothing_tells_are_asked_for(made, truth, tmp_path):
    path = kept(in_units(made, None, 1.8, 32), tmp_path / "a.nc")
    with pytest.raises(WeatherError, match="'tasmin' has no units; say them with --units"):
        open_grid([path])
    assert np.allclose(open_grid([path], units="F").tmin, truth, equal_nan=True)


def test_nothing_is_loaded_and_blocks_hold_all_days(made, tmp_path):
    days = made.sizes["time"]
    grid = open_grid([kept(made, tmp_path / "a.nc")], block_bytes=4 * 2 * 8 * days)
    assert grid.tmin.chunks == ((days,), (2, 2), (2, 2, 1))
    assert grid.latitude.dims == ("lat",) and grid.latitude.chunks is None


def test_storage_chunks_stay_whole(made, tmp_path):
    days = made.sizes["time"]
    made.drop_encoding().to_zarr(
        tmp_path / "a.zarr", zarr_format=2, encoding={"tasmin": {"chunks": (days, 2, 2)}}
    )
    grid = open_grid([tmp_path / "a.zarr"], block_bytes=9 * 2 * 8 * days)
    assert grid.tmin.chunks == ((days,), (2, 2), (4, 1))


@pytest.mark.parametrize("ending", [".nc", ".zarr"])
def test_an_extreme_a_file_and_a_year_a_file(made, truth, tmp_path, ending):
    early, late = made.sel(time=slice(None, "2019")), made.sel(time=slice("2020", None))
    files = [
        kept(part[[name]], tmp_path / f"{name}-{k}{ending}")
        for name in ("tasmax", "tasmin")
        for k, part in enumerate((late, early))
    ]
    grid = open_grid(files)
    assert np.allclose(grid.tmin, truth, equal_nan=True)
    assert str(grid.indexes["time"][0].date()) == "2019-03-01"
    assert len(grid.tmin.chunks[0]) == 1


def test_a_leap_day_that_the_calendar_lacks_is_unknown(made, tmp_path):
    grid = open_grid([kept(made.convert_calendar("noleap"), tmp_path / "a.nc")])
    assert "2020-02-29" not in grid.indexes["time"] and "2020-03-01" in grid.indexes["time"]


@pytest.mark.parametrize("calendar", ["360_day", "366_day", "julian"])
def test_a_calendar_of_days_that_are_no_dates_is_refused(made, tmp_path, calendar):
    odd = made.convert_calendar(calendar, align_on="date")
    with pytest.raises(WeatherError, match=f"calendar '({calendar}|all_leap)'.*convert_calendar"):
        open_grid([kept(odd, tmp_path / "a.nc")])


def test_latitudes_of_a_curved_grid_are_found(made, truth, tmp_path):
    north, east = np.meshgrid(made.lat, made.lon, indexing="ij")
    bent = made.drop_vars(["lat", "lon"]).rename(lat="y", lon="x")
    bent = bent.assign_coords(nav_lat=(("y", "x"), north + 0.1 * east), nav_lon=(("y", "x"), east))
    grid = open_grid([kept(bent, tmp_path / "a.nc")])
    assert grid.latitude.dims == ("y", "x") and grid.latitude.attrs["standard_name"] == "latitude"
    assert np.allclose(grid.tmin, truth, equal_nan=True)


def test_heights_are_taken_along(made, tmp_path):
    high = made.assign_coords(orog=(("lat", "lon"), np.full((4, 5), 410.0), {"units": "m"}))
    assert float(open_grid([kept(high, tmp_path / "a.nc")]).elevation.mean()) == 410


def test_variables_are_told_by_their_attributes_or_by_the_grower(made, truth, tmp_path):
    named = kept(made.rename(tasmin="low", tasmax="high"), tmp_path / "a.nc")
    assert np.allclose(open_grid([named]).tmin, truth, equal_nan=True)
    bare = made.rename(tasmin="low", tasmax="high")
    for name in ("low", "high"):
        bare[name].attrs = {"units": "K"}
    path = kept(bare, tmp_path / "b.nc")
    with pytest.raises(WeatherError, match=r"which variable is the daily minimum.*--tmin; .*low, high"):
        open_grid([path])
    assert np.allclose(open_grid([path], tmin="low", tmax="high").tmin, truth, equal_nan=True)
    with pytest.raises(WeatherError, match="no variable 'lowest'; it has low, high"):
        open_grid([path], tmin="lowest", tmax="high")


def wrong(made: xr.Dataset, how: str) -> xr.Dataset:
    days = made.indexes["time"]
    if how == "monthly":
        return made.isel(time=slice(0, 300, 30))
    if how == "hourly":
        return made.isel(time=slice(0, 48)).assign_coords(time=days[0] + (days[:48] - days[0]) / 24)
    if how == "backward":
        return made.isel(time=slice(None, None, -1))
    if how == "no latitude":
        return made.drop_vars("lat")
    if how == "no time":
        return made.mean("time", keep_attrs=True)
    if how == "interchanged":
        return made.rename(tasmin="tasmax", tasmax="tasmin")
    if how == "in pascal":
        return in_units(made, "Pa", 1, 0)
    assert how == "not in K"
    return in_units(made, "K", 1, 0)


@pytest.mark.parametrize(
    "how, words",
    [
        ("monthly", "steps of a.nc are 30 days; every day is needed"),
        ("hourly", "2019-03-01 comes twice; one minimum and one maximum a day"),
        ("backward", "2021-02-27 comes after 2021-02-28; days must rise"),
        ("no latitude", "does not say the latitude"),
        ("no time", "has no time axis"),
        ("interchanged", "mostly lies above"),
        ("in pascal", "in 'Pa'; temperatures in °C, K or °F are needed"),
        ("not in K", "its unit cannot be right"),
    ],
)
def test_a_wrong_set_is_refused_in_words(made, tmp_path, how, words):
    with pytest.raises(WeatherError, match=words):
        open_grid([kept(wrong(made, how), tmp_path / "a.nc")])


def test_what_is_no_climate_set_is_refused(made, tmp_path):
    (tmp_path / "a.csv").write_text("date,tmin,tmax\n2026-01-01,1,5\n")
    with pytest.raises(WeatherError, match=r"a\.csv is no climate set: a NetCDF file or a Zarr folder"):
        open_grid([tmp_path / "a.csv"])
    with pytest.raises(WeatherError, match=r"there is no file .*none\.nc"):
        open_grid([tmp_path / "none.nc"])


def test_files_on_different_grids_are_refused(made, tmp_path):
    early = kept(made.sel(time="2019"), tmp_path / "a.nc")
    moved = made.sel(time="2020").assign_coords(lat=made.lat + 0.25)
    with pytest.raises(WeatherError, match="do not fit together: they lie on different grids"):
        open_grid([early, kept(moved, tmp_path / "b.nc")])
    with pytest.raises(WeatherError, match="or days come twice"):
        open_grid([early, kept(made.sel(time=slice("2019-06", "2020")), tmp_path / "c.nc")])


@pytest.mark.parametrize("ending", [".nc", ".zarr"])
def test_maps_stand_in_the_place_of_older_ones(tmp_path, ending):
    out = tmp_path / f"maps{ending}"
    for value in (1.0, 2.0):
        maps = xr.Dataset({"hardened": ("x", [value, np.nan], {"units": "days since 2020-01-01"})}).chunk(x=1)
        write_maps(maps, out)
    assert read_maps(out).hardened.values.tolist() == pytest.approx([2.0, np.nan], nan_ok=True)
    assert str(xr.decode_cf(read_maps(out)).hardened.values[0])[:10] == "2020-01-03"
    assert [path.name for path in tmp_path.iterdir()] == [out.name]


def test_what_fails_half_way_leaves_the_older_maps(tmp_path):
    out = tmp_path / "maps.zarr"
    good = xr.Dataset({"hardened": ("x", [1.0])})
    write_maps(good, out)

    def breaks(_: np.ndarray) -> np.ndarray:
        raise WeatherError("a bad block")

    bad = xr.apply_ufunc(breaks, good.chunk(), dask="parallelized", output_dtypes=[float])
    with pytest.raises(WeatherError):
        write_maps(bad, out)
    assert read_maps(out).hardened.values.tolist() == [1.0]
    assert [path.name for path in tmp_path.iterdir()] == [out.name]


def test_a_place_that_cannot_be_is_refused_before_the_work(tmp_path):
    (tmp_path / "photos.zarr").mkdir()
    (tmp_path / "photos.zarr" / "tree.jpg").write_bytes(b"")
    with pytest.raises(StoreError, match="something else already"):
        check_ending(tmp_path / "photos.zarr")
    with pytest.raises(InputError, match=r"as \.nc \(NetCDF\) or \.zarr"):
        check_ending(tmp_path / "maps.csv")
    with pytest.raises(StoreError, match="there is no folder"):
        check_ending(tmp_path / "none" / "maps.nc")
