"""Reading station files with the station library, kept away from the network and from its own cache.

What was read is kept beside each file as plain arrays: reading thirty years of four stations anew takes
the library two seconds.
"""

from __future__ import annotations

import zlib
from datetime import date
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.services.meteostat_files import MeteostatFiles
from data_sources.weather.services.protocol import ServiceError, Spot, Station

SEARCHED_M = 100_000
MOST = 30
FORECAST_ROWS = frozenset({"dwd_mosmix", "metno_forecast"})
"""Ids of providers whose rows are forecasts; `dwd_hourly dwd_mosmix` is part of each."""


class StationYear(NamedTuple):
    """A station's year: ordinals of days, extremes [°C], whether a row is a model's, whose data they are."""

    day: NDArray[np.int64]
    tmin: NDArray[np.float64]
    tmax: NDArray[np.float64]
    model: NDArray[np.bool_]
    attribution: str


def quiet_library(files: MeteostatFiles) -> Any:
    """The library, reading from our folder only: no downloads, no pickles."""
    import logging

    import meteostat

    logging.getLogger("meteostat").setLevel(logging.CRITICAL)  # it logs what we have checked ourselves
    config = meteostat.config
    config.cache_enable = False
    config.cache_autoclean = False
    config.stations_db_file = str(files.stations_db)
    config.stations_db_ttl = 10**9
    config.stations_db_endpoints = []
    config.network_max_retries = 0
    config.include_model_data = True
    config.block_large_requests = False
    template = f"{files.folder.as_posix()}/daily/{{year}}/{{station}}.csv.gz"
    config.daily_endpoint = template
    # Copied when the module is first imported, so setting it in the configuration is not enough.
    from meteostat.providers.meteostat import daily

    daily.ENDPOINT = template
    return meteostat


def near_stations(files: MeteostatFiles, spot: Spot) -> list[Station]:
    """Stations of the list, the nearest first, as far as they measure both extremes."""
    library = quiet_library(files)
    try:
        found = library.stations.nearby(library.Point(spot.latitude, spot.longitude), SEARCHED_M, MOST)
        if found.empty:
            return []
        inventory = library.stations.inventory(list(found.index)).df
    except Exception as error:
        raise ServiceError(
            "damaged", f"has a list of stations that cannot be read ({type(error).__name__})"
        ) from error
    both = set(found.index)
    if inventory is not None and not inventory.empty:
        rows = inventory.reset_index()
        for name in ("tmin", "tmax"):
            both &= set(rows.loc[rows["parameter"].astype(str) == name, "station"])
    return [
        Station(
            str(key),
            str(row["name"]),
            float(row["latitude"]),
            float(row["longitude"]),
            None
            if row["elevation"] != row["elevation"] or row["elevation"] is None
            else float(row["elevation"]),
            float(row["distance"]) / 1000,
        )
        for key, row in found.iterrows()
        if key in both
    ]


def read_year(files: MeteostatFiles, station: str, year: int) -> StationYear | None:
    """A year of a station; None when its file is not there, or the library makes nothing of it."""
    path = files.path(station, year)
    if not path.exists():
        return None
    body = path.read_bytes()
    stamp = np.array([len(body), zlib.crc32(body)], dtype=np.int64)
    kept = path.with_suffix(".npz")
    have = _read_kept(kept, stamp)
    if have is not None:
        return have
    made = _read_anew(files, station, year)
    if made is not None:
        part = kept.with_name(kept.name + ".part.npz")
        try:
            np.savez(part, stamp=stamp, **made._asdict())
            part.replace(kept)
        except OSError:
            part.unlink(missing_ok=True)  # it only saves time
    return made


def _read_kept(path: Path, stamp: NDArray[np.int64]) -> StationYear | None:
    try:
        with np.load(path, allow_pickle=False) as kept:
            if not np.array_equal(kept["stamp"], stamp):
                return None
            return StationYear(
                kept["day"], kept["tmin"], kept["tmax"], kept["model"], str(kept["attribution"])
            )
    except (OSError, ValueError, KeyError, EOFError):
        return None


def _read_anew(files: MeteostatFiles, station: str, year: int) -> StationYear | None:
    library = quiet_library(files)
    import pandas as pd

    try:
        series = library.daily(
            library.Station(id=station),
            date(year, 1, 1),
            date(year, 12, 31),
            parameters=[library.Parameter.TMIN, library.Parameter.TMAX],
        )
        frame = series.fetch(sources=True, clean=False)
    except Exception:
        return None  # whatever it was: the year was asked for and not received, and that is said
    if frame is None or frame.empty:
        return None
    stamps = pd.DatetimeIndex(frame.index.get_level_values("time"))
    day = np.array([stamp.toordinal() for stamp in stamps], dtype=np.int64)
    extremes = [frame[name].to_numpy(dtype=float, na_value=np.nan) for name in ("tmin", "tmax")]
    ids = [frame[f"{name}_source"].fillna("").astype(str).tolist() for name in ("tmin", "tmax")]
    model = np.array([bool(FORECAST_ROWS & {*a.split(), *b.split()}) for a, b in zip(*ids, strict=True)])
    return StationYear(day, extremes[0], extremes[1], model, str(series.attribution))
