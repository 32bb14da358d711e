"""Maps of a region: the cells' forecasts laid over a grid by xarray, block by block on dask."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from phenology.learning.transitions import TARGETS
from phenology.region.cells import FIELDS, LEVELS, LIMITS, CellForecasts, all_cells

if TYPE_CHECKING:
    import xarray as xr

NAMES = {"budbreak": "bud break", "extended": "the end of extension", "hardened": "hardening"}


def region_maps(weather: xr.Dataset, forecasts: CellForecasts) -> xr.Dataset:
    """Maps of a species' stages, its last safe day and the odds that a second flush ripens.

    Parameters
    ----------
    weather : xarray.Dataset
        `tmin` and `tmax` [degC] over a dimension `time` of real days and any other dimensions, `latitude` and
        perhaps `elevation` over some of those. Where they are dask arrays so are the maps, and nothing is
        computed yet; time must then be one chunk.

    Returns
    -------
    xarray.Dataset
        A map a quantity, with units by the CF conventions; NaN where the set has no weather (the sea).

    Examples
    --------
    >>> import pandas as pd, xarray as xr
    >>> from datetime import date
    >>> from phenology.species.catalogue import load_species
    >>> time = pd.date_range("2015-01-01", "2025-12-31")
    >>> warmth = 10 - 12 * np.cos(2 * np.pi * time.day_of_year.to_numpy() / 365.25)
    >>> weather = xr.Dataset(
    ...     {"tmin": ("time", warmth - 4), "tmax": ("time", warmth + 4)}, {"time": time, "latitude": 47.0}
    ... ).expand_dims("cell")
    >>> elm = load_species()["Ulmus parvifolia"]
    >>> maps = region_maps(weather, CellForecasts(elm, date(2025, 12, 31)))
    >>> maps.hardened.dims, maps.last_safe.dims, maps.hardened.units
    (('level', 'cell'), ('cell',), 'days since 2025-01-01')
    """
    import xarray as xr

    days = weather.indexes["time"]
    ordinals = np.array([day.toordinal() for day in days], dtype=np.intp)
    if "elevation" in weather.variables:
        elevation = weather["elevation"]
    else:
        elevation = xr.full_like(weather["latitude"], np.nan, dtype=float)
    forecasts.learn(_ends(weather["latitude"]))
    stacked = xr.apply_ufunc(
        all_cells,
        weather["tmin"],
        weather["tmax"],
        weather["latitude"],
        elevation,
        input_core_dims=[["time"], ["time"], [], []],
        output_core_dims=[["field"]],
        kwargs={"forecasts": forecasts, "ordinals": ordinals},
        dask="parallelized",
        output_dtypes=[np.float64],
        dask_gufunc_kwargs={"output_sizes": {"field": len(FIELDS)}},
        keep_attrs=False,
    )
    maps = _named(stacked, forecasts)
    for name in maps.coords:
        if name in weather.coords:
            maps[name].attrs.update(weather[name].attrs)
    return maps.assign_attrs(
        Conventions="CF-1.11",
        title=f"Flushes of {forecasts.species.latin} as known at the end of {forecasts.as_of}",
        species=forecasts.species.latin,
        as_of=str(forecasts.as_of),
        calibration="species catalogue" if forecasts.calibration is None else "looks of a garden",
        comment="The forecast of a tree in the open at which nobody has looked. It says when to look; the "
        "leaf decides. Hardening, and flushes after work, have no open field record to test forecasts on.",
    )


def _ends(latitude: xr.DataArray) -> list[float]:
    """Latitudes that stand for all: fits differ between hemispheres and near the equator alone."""
    low, high = float(latitude.min()), float(latitude.max())
    inside = [y for y in (-1.0, 1.0) if low < y < high]
    return [y for y in (low, *inside, high) if np.isfinite(y)]


def _named(stacked: xr.DataArray, forecasts: CellForecasts) -> xr.Dataset:
    """One variable a quantity, with what it means."""
    import xarray as xr

    at = {name: stacked.isel(field=k) for k, name in enumerate(FIELDS)}
    days = {"units": f"days since {forecasts.epoch}", "calendar": "proleptic_gregorian"}
    maps: dict[str, xr.DataArray] = {}
    level = xr.Variable(
        "level", np.array(LEVELS), {"long_name": "chance that it has come by then", "units": "1"}
    )
    for stage in TARGETS:
        dates = xr.concat([at[f"{stage} {p:g}"] for p in LEVELS], dim="level").assign_coords(level=level)
        dates = dates.chunk(level=-1) if dates.chunks else dates
        maps[stage] = dates.assign_attrs(long_name=f"time by which {NAMES[stage]} has come", **days)
        chance = f"chance that {NAMES[stage]} comes this season"
        maps[f"{stage}_chance"] = at[f"{stage} chance"].assign_attrs(long_name=chance, units="1")
    maps["last_safe"] = at["last safe"].assign_attrs(
        long_name="last safe day of work that wakes a flush", ancillary_variables="last_safe_limit", **days
    )
    maps["last_safe_limit"] = at["limit"].assign_attrs(
        long_name="what ruled the last safe day",
        flag_values=np.arange(len(LIMITS), dtype=float),
        flag_meanings=" ".join(name.replace(" ", "_") for name in LIMITS),
    )
    cut = forecasts.cut
    when = "when the first flush is hard" if cut is None else f"on {cut.isoformat()[5:]} (month-day)"
    maps["second_flush_ripens"] = at["second flush ripens"].assign_attrs(
        long_name=f"chance that growth woken by a cut {when} ripens", units="1"
    )
    maps["days_unknown"] = at["days unknown"].assign_attrs(
        long_name="days of the set whose extremes are unknown or contradict each other", units="1"
    )
    made = xr.Dataset(maps)
    # axes of the grid that are themselves latitude or longitude need not be told twice
    twice = [c for c in ("latitude", "longitude") if c in made.coords and made[c].dims not in ((c,), ())]
    return made.drop_vars([c for c in twice if made[c].ndim == 1 and made[c].dims[0] in made.coords])
