"""Meteostat: thirty years of the stations around a garden, a file of a station's year each.

The station library would fetch the files itself, but without a time limit, swallowing every failure, and with
a cache in which a failure pushes out the good copy. So our client fetches and keeps; the library finds the
stations in their list and says whose data they are and which are forecasts; pandas reads the days.
"""

from __future__ import annotations

import gzip
import io
import re
import sqlite3
import tempfile
import zlib
from collections.abc import Sequence
from contextlib import closing
from datetime import date
from functools import cache, partial
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from data_sources.weather.services.protocol.checks import believable
from data_sources.weather.services.protocol.service import FetchSpan, Spot
from data_sources.weather.services.stations.blend import Station, StationDays
from data_sources.weather.services.stations.station_service import DAY, Days, Piece, StationService
from data_sources.weather.services.transport.faults import ServiceError, parser, refuse_page

SEARCHED_M, MOST = 100_000, 30
SETTLED_AFTER = 100  # days after its end a year changes no more
COLUMNS = ["year", "month", "day", "tmin", "tmin_source", "tmax", "tmax_source"]
KINDS = {**dict.fromkeys(COLUMNS[:3], "int64"), "tmin": "float64", "tmax": "float64"}
LICENCE = "CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/), interpolated to the site"


class Meteostat(StationService):
    """Stations by way of Meteostat."""

    name, title, provider = "meteostat", "Meteostat", "Meteostat"
    about = "measuring stations worldwide, several blended to the place; free"
    address = "https://data.meteostat.net"
    ids, like = re.compile(r"[A-Z0-9]{5}"), "10637"
    years_a_round = 5

    def near(self, spot: Spot, today: date) -> list[Station]:
        """Stations of the list, the nearest first, as far as they measure both extremes."""
        url, read = f"{self.base(self.settings)}/stations.db", partial(read_stations, spot=spot)
        try:
            return self.listed(url, read, keep_for=7 * DAY)
        except ServiceError as error:
            if error.fault != "damaged":
                raise
            return self.listed(url, read, keep_for=7 * DAY)  # once more

    def pieces(self, station: Station, part: FetchSpan, today: date) -> list[Piece]:
        """A file a year."""
        pieces = []
        for year in reversed(part.years):
            settled = (today - date(year, 12, 31)).days > SETTLED_AFTER
            keep, absent = (3650 * DAY, DAY) if settled else (20 / 24 * DAY, 0.0)
            url = f"{self.base(self.settings)}/daily/{year}/{station.id}.csv.gz"
            read = partial(read_year, year=year)
            pieces.append(Piece(station, range(year, year + 1), url, read, keep, absent))
        return pieces

    def joined(self, pieces: Sequence[Days]) -> Days:
        """All files at once; rows with a forecast in them are a model's."""
        days = super().joined(pieces)
        models = [ids for ids in _ids(days) if not _forecasts().isdisjoint(ids.split())]
        modelled = days["tmin_source"].isin(models) | days["tmax_source"].isin(models)
        return days.assign(source=np.where(modelled, "model", "station"))

    def attribution(self, stations: Sequence[StationDays], days: Sequence[Days]) -> str:
        """Who measured, from the ids beside the values."""
        ids = {part for one in days for own in _ids(one) for part in own.split()}
        licences = [spec.license for spec in _providers() if spec.id in ids and spec.license]
        names = sorted({licence.attribution for licence in licences if licence.attribution})
        if not names:
            who = "Meteostat and its data providers (https://dev.meteostat.net/providers)"
        else:
            who = f"Meteostat (https://meteostat.net) with data of {', '.join(names)}"
        return f"Source: {who}, {LICENCE}"


@parser
def read_stations(body: bytes, spot: Spot) -> tuple[list[Station], int]:
    """The stations near a spot that measure both extremes, and how many the list holds."""
    refuse_page(body)
    import meteostat

    with tempfile.TemporaryDirectory(prefix="flushcast-", ignore_cleanup_errors=True) as folder:
        path = Path(folder) / "stations.db"
        path.write_bytes(body)
        config = meteostat.config
        config.stations_db_file, config.stations_db_endpoints = str(path), []  # it asks nobody
        config.cache_enable = config.cache_autoclean = False
        try:
            with closing(sqlite3.connect(path)) as made:
                whole = made.execute("PRAGMA quick_check").fetchone() == ("ok",)
                count = made.execute("SELECT count(*) FROM stations").fetchone()[0]
                measured = made.execute("SELECT count(*) FROM inventory").fetchone()[0]
                if not (whole and count and measured):
                    raise sqlite3.DatabaseError
            found = meteostat.stations.nearby(
                meteostat.Point(spot.latitude, spot.longitude), SEARCHED_M, MOST
            )
            if found.empty:
                return [], count
            found = found[found.index.astype(str).str.fullmatch(Meteostat.ids.pattern)]
            if found.empty:
                raise ValueError("no id is one")
            inventory: Any = meteostat.stations.inventory(list(found.index)).df
            inventory = inventory.reset_index()
        except Exception as error:  # whatever the library makes of a broken file
            raise ServiceError("damaged", "sent a broken list of stations") from error
    both = inventory[inventory["parameter"].isin(["tmin", "tmax"])].groupby("station")["parameter"].nunique()
    found = found[found.index.isin(both.index[both == 2])]
    height = pd.to_numeric(found["elevation"], errors="coerce").astype(float)
    rows = zip(found.index, found["name"], height, found["distance"], strict=True)
    near = [
        Station(str(key), str(name), None if np.isnan(above) else above, float(away) / 1000)
        for key, name, above, away in rows
    ]
    return near, count


@parser
def read_year(body: bytes, year: int) -> Days:
    """A station's year, packed or already unpacked on its way here.

    ``tmin_source`` and ``tmax_source`` say who its values are from.
    """
    refuse_page(body)
    try:
        text = gzip.decompress(body) if body[:2] == b"\x1f\x8b" else body
    except (OSError, EOFError, zlib.error):
        raise ServiceError("damaged", "sent a file that is cut off or damaged") from None
    lines = text.rstrip(b"\n")
    if text[: text.find(b"\n")].count(b",") != lines[lines.rfind(b"\n") + 1 :].count(b","):
        raise ServiceError("damaged", "sent a file that breaks off")
    try:
        table = pd.read_csv(io.BytesIO(text), usecols=COLUMNS, dtype=KINDS)
        dates = pd.to_datetime(table[COLUMNS[:3]])
    except (ValueError, TypeError, OverflowError):
        raise ServiceError("damaged", "sent a file of another shape than it documents") from None
    days = table[COLUMNS[3:]].set_axis(pd.DatetimeIndex(dates, name="date"))
    if days[["tmin", "tmax"]].isna().all(axis=None):
        raise ServiceError("absent", "has no day of that time")
    others = table["year"][table["year"] != year]
    if len(others):
        raise ServiceError("damaged", f"sent days of {others.iloc[0]} for the year {year}")
    return believable(days)


def _ids(days: Days) -> list[str]:
    """Who the values are from, as the files have it: providers with blanks between them."""
    columns = [days[name].dropna().unique() for name in ("tmin_source", "tmax_source")]
    return [str(ids) for ids in np.unique(np.concatenate(columns).astype(str))]


def _providers() -> Any:
    from meteostat.core.providers import provider_service

    return provider_service.providers


@cache
def _forecasts() -> frozenset[str]:
    """Ids of providers whose rows are forecasts; `dwd_hourly dwd_mosmix` is part of one."""
    from meteostat.enumerations import Grade

    return frozenset(str(spec.id) for spec in _providers() if spec.grade is Grade.FORECAST)
