"""Maps written as NetCDF or Zarr: beside their place under another name, block by block, then into it."""

from __future__ import annotations

import shutil
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from data_sources.disk.whole_files import part_of, sweep
from phenology.model.errors import InputError, StoreError

if TYPE_CHECKING:
    import xarray as xr

ENDINGS = (".nc", ".zarr")


def check_ending(path: Path) -> None:
    """Refuse, before hours of work, a name that tells no format or that something else stands under.

    Raises `InputError` or `StoreError`.
    """
    if path.suffix.lower() not in ENDINGS:
        raise InputError(f"maps are written as .nc (NetCDF) or .zarr, not as '{path.name}'")
    zarr = path.suffix.lower() == ".zarr"
    if path.exists() and (path.is_dir() != zarr or (zarr and not _is_zarr(path))):
        raise StoreError(f"{path} is something else already; name another. Nothing was written.")
    if not path.parent.is_dir():
        raise StoreError(f"there is no folder {path.parent}")


def _is_zarr(path: Path) -> bool:
    return any((path / name).exists() for name in ("zarr.json", ".zgroup")) or not any(path.iterdir())


def write_maps(maps: xr.Dataset, path: Path) -> None:
    """Compute maps and write them; what stood there stays until they are whole.

    NetCDF is written by this process once all maps are here; Zarr by the workers, block by block. Raises
    `StoreError` if the place cannot be written.
    """
    sweep(path.parent)
    part = part_of(path)
    how: dict[str, Any] = {"dtype": "float64", "_FillValue": float("nan")}
    try:
        if path.suffix.lower() == ".nc":
            squeezed = {str(name): {**how, "zlib": True, "complevel": 4} for name in maps.data_vars}
            maps.compute().to_netcdf(part, engine="h5netcdf", encoding=squeezed)
            part.replace(path)
        else:
            each = {str(name): how for name in maps.data_vars}
            maps.to_zarr(part, mode="w", encoding=each, zarr_format=2, consolidated=True)
            old = part.with_name(f"{part.name}.old")
            if path.exists():
                path.rename(old)
            part.rename(path)
            shutil.rmtree(old, ignore_errors=True)
    except OSError as error:
        raise StoreError(f"cannot write {path}: {error.strerror or error}") from None
    finally:
        with suppress(OSError):
            shutil.rmtree(part) if part.is_dir() else part.unlink()


def read_maps(path: Path) -> xr.Dataset:
    """Maps that were written, dates as numbers with their units; nothing is loaded yet."""
    import xarray as xr

    how: dict[str, Any] = {"decode_times": False, "chunks": None}
    if path.suffix.lower() == ".zarr":
        maps: xr.Dataset = xr.open_zarr(path, **how)
        return maps
    return xr.open_dataset(path, engine="h5netcdf", **how)
