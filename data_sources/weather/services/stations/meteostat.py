"""Meteostat: thirty years of the stations around a garden, a file of a station's year each.

The station library would fetch the files itself, but without a time limit, swallowing every failure, and with
a cache in which a failure pushes out the good copy. So our client fetches and keeps; the library finds the
stations in their list and says whose data they are and which are forecasts; pandas reads the days.
"""

from __future__ import annotations

import gzip
import io
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
from data_sources.weather.services.transport.faults import ServiceError, refuse_page

SEARCHED_M, MOST = 100_000, 30
SETTLED_AFTER = 100  # days after its end a year changes no more
COLUMNS = ["year", "month", "day", "tmin", "tmin_source", "tmax", "tmax_source"]
LICENCE = "CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/), interpolated to the site"


class Meteostat(StationService):
    """Stations by way of Meteostat."""

    name, title, provider = "meteostat", "Meteostat", "Meteostat"
    about = "measuring stations worldwide, several blended to the place; free"
    address = "https://data.meteostat.net"
    years_a_round = 5

    def near(self, spot: Spot, today: date) -> list[Station]:
        """Stations of the list, the nearest first, as far as they measure both extremes."""
        ask = partial(
            self.http.get,
            f"{self.base(self.settings)}/stations.db",
            partial(read_stations, spot=spot),
            keep_for=7 * DAY,
            lasting=True,
        )
        try:
            reply = ask()
        except ServiceError as error:
            if error.fault != "damaged":
                raise
            reply = ask()  # once more
        if reply.fault is not None:
            self.notes.append(f"the list of stations is an old one: the service {reply.fault.words}")
        return reply.value

    def pieces(self, station: Station, part: FetchSpan, today: date) -> list[Piece]:
        """A file a year."""
        pieces = []
        for year in reversed(part.years):
            settled = (today - date(year, 12, 31)).days > SETTLED_AFTER
            asking = {
                "keep_for": (3650 if settled else 20 / 24) * DAY,
                "absent_for": (30 if settled else 20 / 24) * DAY,
                "lasting": True,
                "size": _known,
                "vet": partial(vet_year, year=year),
            }
            url = f"{self.base(self.settings)}/daily/{year}/{station.id}.csv.gz"
            pieces.append(Piece(station, range(year, year + 1), url, unpacked, asking=asking))
        return pieces

    def joined(self, pieces: Sequence[bytes]) -> Days:
        """All files at once; rows with a forecast in them are a model's."""
        days = read_days(pieces)
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


def read_stations(body: bytes, spot: Spot) -> list[Station]:
    """The stations near a spot that measure both extremes, out of the list.

    Raises
    ------
    ServiceError
        If it is no whole list.
    """
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
                if not whole or not made.execute("SELECT count(*) FROM stations").fetchone()[0]:
                    raise sqlite3.DatabaseError
            found = meteostat.stations.nearby(
                meteostat.Point(spot.latitude, spot.longitude), SEARCHED_M, MOST
            )
            if found.empty:
                return []
            inventory: Any = meteostat.stations.inventory(list(found.index)).df
            inventory = inventory.reset_index()
        except Exception as error:  # whatever the library makes of a broken file
            raise ServiceError("damaged", "sent a broken list of stations") from error
    both = inventory[inventory["parameter"].isin(["tmin", "tmax"])].groupby("station")["parameter"].nunique()
    found = found[found.index.isin(both.index[both == 2])]
    return [
        Station(
            str(key),
            str(row["name"]),
            None if pd.isna(row["elevation"]) else float(row["elevation"]),
            float(row["distance"]) / 1000,
        )
        for key, row in found.iterrows()
    ]


def unpacked(body: bytes) -> bytes:
    """The text of a station's year; some ways unpack it before it gets here.

    Raises
    ------
    ServiceError
        If there is none.
    """
    refuse_page(body)
    try:
        return gzip.decompress(body) if body[:2] == b"\x1f\x8b" else body
    except (OSError, EOFError, zlib.error):
        raise ServiceError("damaged", "sent a file that is cut off or damaged") from None


def vet_year(text: bytes, year: int) -> None:
    """Refuse a station's year that is no such file, is of another year, breaks off, or holds a day twice.

    Raises
    ------
    ServiceError
    """
    lines = text.rstrip(b"\n").split(b"\n")
    if lines[0].count(b",") != lines[-1].count(b","):
        raise ServiceError("damaged", "sent a file that breaks off")
    days = read_days([text])
    if days.empty:
        raise ServiceError("absent", "has no day of that time")
    years = pd.DatetimeIndex(days.index).year
    if (years != year).any():
        raise ServiceError("damaged", f"sent days of {years[years != year][0]} for the year {year}")
    believable(days)


def read_days(texts: Sequence[bytes]) -> Days:
    """The days of station files; ``tmin_source`` and ``tmax_source`` say who they are from.

    Raises
    ------
    ServiceError
        If one is no such file.
    """
    by_head: dict[bytes, list[bytes]] = {}
    for text in texts:
        head, _, rows = text.partition(b"\n")
        by_head.setdefault(head, []).append(rows if rows.endswith(b"\n") else rows + b"\n")
    try:
        tables = [
            pd.read_csv(io.BytesIO(b"\n".join([head, b"".join(rows)])), usecols=COLUMNS)
            for head, rows in by_head.items()
        ]
        table = pd.concat(tables).astype({"tmin": float, "tmax": float})
        index = pd.DatetimeIndex(pd.to_datetime(table[COLUMNS[:3]]), name="date")
    except (ValueError, TypeError):
        raise ServiceError("damaged", "sent a file of another shape than it documents") from None
    return table[COLUMNS[3:]].set_axis(index).sort_index()


def _known(text: bytes) -> int:
    days = read_days([text])
    return int((days["tmin"].notna() | days["tmax"].notna()).sum())


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
