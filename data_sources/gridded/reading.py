"""Gridded climate sets, from NetCDF and Zarr to daily extremes in °C over real days.

Nothing is loaded: what comes back are dask arrays in blocks that hold all days of a few cells. Variables,
units, calendars and coordinates are found by the CF conventions, and by usual names where the set tells none.
"""

from __future__ import annotations

import warnings
from collections.abc import Hashable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from phenology.model.errors import WeatherError

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

EXTREMES = {
    "tmin": ("minimum", ("tasmin", "tmin", "tn", "t2m_min", "mn2t", "tmmn", "temperature_2m_min")),
    "tmax": ("maximum", ("tasmax", "tmax", "tx", "t2m_max", "mx2t", "tmmx", "temperature_2m_max")),
}
"""What `cell_methods` says of a variable, and names under which sets keep it."""

TIMES = ("time", "valid_time", "t", "day")
PLACES = {
    "latitude": ("latitude", ("lat", "latitude", "nav_lat", "xlat"), "degrees_north"),
    "longitude": ("longitude", ("lon", "longitude", "nav_lon", "xlong"), "degrees_east"),
    "elevation": ("surface_altitude", ("orog", "elevation", "altitude"), "m"),
}
"""What says where cells are: standard name, usual names, unit."""

UNITS: dict[str, tuple[float, float]] = {
    **dict.fromkeys(("degc", "celsius", "c", "°c", "degree_celsius", "degree_c"), (1.0, 0.0)),
    **dict.fromkeys(("k", "kelvin", "degk", "degree_kelvin", "degree_k"), (1.0, -273.15)),
    **dict.fromkeys(("degf", "fahrenheit", "f", "°f", "degree_fahrenheit", "degree_f"), (1 / 1.8, -32 / 1.8)),
}
"""Factor and offset that bring a unit to °C."""

REAL_CALENDARS = ("standard", "gregorian", "proleptic_gregorian")
LACKING_LEAP_DAYS = ("noleap", "365_day")
BLOCK_BYTES = 64e6  # of both extremes in memory (ours: small beside a worker of 1 GB, large beside a task)
COLDEST, HOTTEST = -95.0, 65.0  # beyond which a value is no air temperature in °C (ours)


def open_grid(
    paths: Sequence[Path],
    *,
    tmin: str | None = None,
    tmax: str | None = None,
    units: str | None = None,
    block_bytes: float = BLOCK_BYTES,
) -> xr.Dataset:
    """Open a climate set on one grid.

    Parameters
    ----------
    paths : sequence of Path
        NetCDF files or Zarr folders: all in one, an extreme a file, years in files of their own.
    tmin, tmax : str, optional
        Variables of the daily extremes, where neither names nor attributes tell.
    units : str, optional
        Of the temperatures, where the set says none.
    block_bytes : float
        About how large a block may be, all its days together.

    Returns
    -------
    xarray.Dataset
        `tmin` and `tmax` [degC], lazy, over `time` and the cells' dimensions, with `latitude`, and with
        `longitude` and `elevation` where the set has them. Of a calendar without leap days 29 February is
        unknown.

    Raises
    ------
    WeatherError
        If a file cannot be read, the files lie on different grids, no extremes or latitudes are found, their
        units are unknown, steps are not days, or the calendar has days that no real year has.
    """
    import xarray as xr

    files = [_on_real_days(_open(path), path.name) for path in paths]
    has = list(dict.fromkeys(str(name) for one in files for name in one.data_vars))
    names = {"tmin": tmin or _extreme(files, "tmin"), "tmax": tmax or _extreme(files, "tmax")}
    for name in names.values():
        if name not in has:
            raise WeatherError(f"the set has no variable '{name}'; it has {', '.join(has) or 'none'}")
    parts = [part for one in files if len(part := _extremes(one, names))]
    scales = [{key: _scale(part[key], names[key], units) for key in _keys(part)} for part in parts]
    _refuse_nonsense(parts, scales, names)
    lazy = [
        _in_celsius(part.chunk(_blocks(part, block_bytes)), how)
        for part, how in zip(parts, scales, strict=True)
    ]
    try:
        whole = xr.combine_by_coords(
            lazy,
            data_vars="minimal", coords="minimal", compat="equals", join="exact", combine_attrs="override",
        )  # fmt: skip
    except ValueError as error:
        raise WeatherError(
            f"these {len(paths)} files do not fit together: they lie on different grids, or days come twice "
            f"({_line(error)})"
        ) from None
    assert isinstance(whole, xr.Dataset)
    if set(whole["tmin"].dims) != set(whole["tmax"].dims):
        raise WeatherError(f"'{names['tmin']}' and '{names['tmax']}' do not lie on one grid")
    return whole.chunk({"time": -1}).assign_coords(
        {key: whole[key].compute() for key in PLACES if key in whole.coords}
    )


def _open(path: Path) -> xr.Dataset:
    """A file as it is, its times not read yet."""
    import xarray as xr

    if not path.exists():
        raise WeatherError(f"there is no file {path}")
    try:
        if path.is_dir():
            with warnings.catch_warnings():  # no list of its arrays beside them is no matter
                warnings.simplefilter("ignore", RuntimeWarning)
                zarr: xr.Dataset = xr.open_zarr(path, chunks=None, decode_times=False)
                return zarr
        return xr.open_dataset(path, chunks=None, decode_times=False, cache=False)
    except Exception as error:  # each engine raises its own
        raise WeatherError(
            f"{path.name} is no climate set: a NetCDF file or a Zarr folder is needed ({_line(error)})"
        ) from None


def _line(error: Exception) -> str:
    return str(error).strip().split("\n")[0][:160]


def _on_real_days(one: xr.Dataset, file: str) -> xr.Dataset:
    """The same with its dimension of time named so, and real days on it."""
    time = _found(one, "time", TIMES)
    if time is None:
        if not one.data_vars:
            raise WeatherError(f"{file} holds no variables")
        raise WeatherError(f"{file} has no time axis; a daily minimum and maximum for every day are needed")
    (dim,) = one[time].dims or (None,)
    if dim is None:
        raise WeatherError(f"{file} holds a single time; every day is needed")
    days = _days(one[time], file)
    bare = one.drop_vars([name for name in {time, dim} if name in one.variables])
    return bare.rename({dim: "time"} if dim != "time" else {}).assign_coords(time=days)


def _days(time: xr.DataArray, file: str) -> pd.DatetimeIndex:
    """The real day of every step."""
    import pandas as pd
    import xarray as xr

    calendar = str(time.attrs.get("calendar", "standard")).lower()
    if calendar not in (*REAL_CALENDARS, *LACKING_LEAP_DAYS):
        raise WeatherError(
            f"{file} counts time by the calendar '{calendar}', with days that no real year has. Bring it to "
            "the real one first, in Python with xarray's `set.convert_calendar('standard', align_on='year')`."
        )
    if "units" not in time.attrs:
        raise WeatherError(f"the time axis of {file} has no units such as 'days since 1990-01-01'")
    if not time.size:
        raise WeatherError(f"{file} has not a single day")
    coder = xr.coders.CFDatetimeCoder(use_cftime=True)
    try:
        decoded = xr.decode_cf(
            xr.Dataset(coords={"time": ("time", time.values, time.attrs)}), decode_times=coder
        )
    except ValueError as error:
        raise WeatherError(f"the time axis of {file} cannot be read ({_line(error)})") from None
    written = [f"{t.year:04}-{t.month:02}-{t.day:02}" for t in decoded["time"].to_numpy()]
    days = pd.DatetimeIndex(np.array(written, dtype="datetime64[s]"), name="time")
    steps = np.diff(days.to_numpy()).astype("timedelta64[D]").astype(int)
    if len(steps) and np.median(steps) > 1:
        raise WeatherError(f"the steps of {file} are {np.median(steps):g} days; every day is needed")
    if (steps <= 0).any():
        at = int(np.flatnonzero(steps <= 0)[0])
        if steps[at] < 0:
            raise WeatherError(f"{file}: {written[at + 1]} comes after {written[at]}; days must rise")
        raise WeatherError(f"{file}: {written[at]} comes twice; one minimum and one maximum a day are needed")
    return days


def _found(one: xr.Dataset, standard_name: str, names: Sequence[str]) -> Hashable | None:
    """The variable with a standard name, or else with a usual name."""
    for name, variable in one.variables.items():
        if variable.attrs.get("standard_name") == standard_name:
            return name
    return next((name for name in (*one.variables, *one.dims) if str(name).lower() in names), None)


def _extreme(files: Sequence[xr.Dataset], which: str) -> str:
    """The variable of a daily extreme, by its name or else by what its attributes say."""
    method, names = EXTREMES[which]
    variables = {str(name): v.attrs for one in files for name, v in one.data_vars.items()}
    usual = [name for name in variables if name.lower() in names]
    told = [name for name, attrs in variables.items() if f"time: {method}" in attrs.get("cell_methods", "")]
    for found in (usual, told):
        if len(found) == 1:
            return found[0]
    raise WeatherError(
        f"which variable is the daily {method} temperature? Say it with --{which}; "
        f"the set has {', '.join(variables) or 'none'}"
    )


def _extremes(one: xr.Dataset, names: Mapping[str, str]) -> xr.Dataset:
    """The extremes that a file holds, by our names, with where the cells are."""
    import xarray as xr

    held = {key: one[name] for key, name in names.items() if name in one.data_vars}
    if not held:
        return xr.Dataset()
    for key, values in held.items():
        if "time" not in values.dims:
            raise WeatherError(f"'{names[key]}' does not run over time; every day is needed")
    dims = {dim for values in held.values() for dim in values.dims}
    coords: dict[Hashable, Any] = {"time": one["time"]}
    coords |= {dim: one[dim].variable for dim in dims if dim in one.coords and dim != "time"}
    for key, (standard_name, usual, unit) in PLACES.items():
        found = _found(one, standard_name, usual)
        if found is not None and found in one.variables and set(one[found].dims) <= dims - {"time"}:
            attrs = {"standard_name": standard_name, "units": unit}
            coords[key] = xr.Variable(one[found].dims, one[found].to_numpy(), attrs)
            if found in coords:
                coords[found] = coords[key]
    if "latitude" not in coords:
        raise WeatherError(
            "the set does not say the latitude of its cells, which tells hemisphere and daylight: a "
            "coordinate with the standard_name 'latitude' is needed"
        )
    if not np.nanmax(np.abs(one[_found(one, *PLACES["latitude"][:2])].to_numpy())) <= 90:
        raise WeatherError("the latitudes of the set lie beyond 90 degrees")
    return xr.Dataset({key: values.variable for key, values in held.items()}, coords)


def _keys(part: xr.Dataset) -> list[str]:
    return [str(key) for key in part.data_vars]


def _scale(values: xr.DataArray, name: str, units: str | None) -> tuple[float, float]:
    """Factor and offset to °C; the set's own unit goes before the one given."""
    written = str(values.attrs.get("units", "")) or units or ""
    if not written:
        raise WeatherError(f"'{name}' has no units; say them with --units C, K or F")
    key = written.strip().lower().replace(" ", "_").replace("degrees_", "degree_").replace("deg_", "deg")
    if key not in UNITS:
        raise WeatherError(f"'{name}' is in '{written}'; temperatures in °C, K or °F are needed")
    return UNITS[key]


def _in_celsius(part: xr.Dataset, scales: Mapping[str, tuple[float, float]]) -> xr.Dataset:
    for key, (factor, offset) in scales.items():
        values = part[key] if factor == 1.0 else part[key] * factor
        part[key] = (values + offset if offset else values).assign_attrs(units="degC")
    return part


def _blocks(one: xr.Dataset, block_bytes: float) -> dict[Hashable, int]:
    """Chunks with all days of as many cells as fit, about as many along each axis.

    Storage chunks are kept whole where they are small enough.
    """
    values = next(iter(one.data_vars.values()))
    cells = [dim for dim in values.dims if dim != "time"]
    stored = values.encoding.get("preferred_chunks", {})
    left = max(1.0, block_bytes / (2 * 8 * values.sizes["time"]))
    blocks: dict[Hashable, int] = {"time": -1}
    for k, dim in enumerate(sorted(cells, key=lambda dim: values.sizes[dim])):
        size = max(1, min(values.sizes[dim], round(left ** (1 / (len(cells) - k)))))
        part = int(stored.get(dim, 1))
        blocks[dim] = size // part * part if 1 < part <= size else size
        left = max(1.0, left / blocks[dim])
    return blocks


def _refuse_nonsense(
    parts: Sequence[xr.Dataset], scales: Sequence[Mapping[str, tuple[float, float]]], names: Mapping[str, str]
) -> None:
    """A look at a few days, so that a wrong unit is not found after hours."""
    seen: dict[str, Any] = {}
    for part, how in zip(parts, scales, strict=True):
        at = {
            d: np.unique(np.linspace(0, n - 1, 3 if d == "time" else 50).astype(int))
            for d, n in part.sizes.items()
        }
        for key, (factor, offset) in how.items():
            dims = {d: at[d] for d in part[key].dims}
            values = part[key].isel(dims).to_numpy() * factor + offset
            finite = values[np.isfinite(values)]
            if len(finite) and not (finite.min() >= COLDEST and finite.max() <= HOTTEST):
                raise WeatherError(
                    f"'{names[key]}' would run from {finite.min():.0f} to {finite.max():.0f} °C; "
                    "its unit cannot be right"
                )
            seen.setdefault(key, values)
    low, high = seen["tmin"], seen["tmax"]
    if low.shape == high.shape:
        both = np.isfinite(low) & np.isfinite(high)
        if both.any() and (low > high)[both].mean() > 0.5:
            raise WeatherError(
                f"'{names['tmin']}' mostly lies above '{names['tmax']}': are they interchanged?"
            )
