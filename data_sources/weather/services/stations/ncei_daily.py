"""NOAA NCEI's daily summaries: stations worldwide as CSV, each value with the mark of its quality check."""

from __future__ import annotations

import io
from collections import Counter
from datetime import date
from functools import partial

import pandas as pd

from data_sources.weather.services.protocol.checks import believable
from data_sources.weather.services.protocol.service import FetchSpan
from data_sources.weather.services.stations.blend import Station
from data_sources.weather.services.stations.noaa import Noaa
from data_sources.weather.services.stations.station_service import DAY, Days, Piece
from data_sources.weather.services.transport.faults import ServiceError, parser, refuse_page


class NceiDaily(Noaa):
    """Daily summaries of stations."""

    name, title, provider = "ncei-daily", "NOAA NCEI daily summaries", "NOAA NCEI"
    about = "measuring stations worldwide, densest in the United States; public domain"
    address = "https://www.ncei.noaa.gov/access/services/data/v1"
    years_a_round = 10

    def needs(self) -> str:
        """A mirror of its own is not enough."""
        return "finds its stations in the lists of ghcn-daily: with a mirror, set both addresses"

    def pieces(self, station: Station, part: FetchSpan, today: date) -> list[Piece]:
        """One answer."""
        params = {
            "dataset": "daily-summaries",
            "stations": station.id,
            "startDate": part.first.isoformat(),
            "endDate": min(part.last, today).isoformat(),
            "dataTypes": "TMAX,TMIN",
            "format": "csv",
            "units": "metric",  # never without: it would answer in tenths
            "includeAttributes": "true",
            "includeStationLocation": "1",
            "includeStationName": "true",
        }
        keep_for = (30 if (today - part.last).days > 200 else 1) * DAY
        read = partial(read_summaries, station=station.id)
        return [Piece(station, part.years, self.base(self.settings), read, keep_for, params=params)]


@parser
def read_summaries(body: bytes, station: str) -> Days:
    """The days of a station; values that failed a quality check are left out and counted.

    Raises
    ------
    ServiceError
        If the body is no such table. An empty one is none either: a station without a day has a header.
    """
    refuse_page(body)
    text = body.decode("utf-8-sig", "replace")
    if text.lstrip().startswith(("{", "<")):
        raise ServiceError("damaged", "sent an error instead of a table")
    # Everything is quoted: an answer cut off leaves a quote open, or ends without its line.
    if text.count('"') % 2 or not text.endswith("\n"):
        raise ServiceError("damaged", "sent a table that breaks off")
    table = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False)
    if not {"STATION", "DATE"} <= set(table):
        raise ServiceError("damaged", "sent a table without the columns STATION and DATE")
    table = table[table["STATION"].str.strip() == station]
    left_out: Counter[str] = Counter()
    days = pd.DataFrame(index=pd.DatetimeIndex(table["DATE"].str.strip(), name="date"))
    for name in ("TMIN", "TMAX"):
        text_values = table.get(name, pd.Series("", table.index)).str.strip()
        marks = table.get(f"{name}_ATTRIBUTES", pd.Series("", table.index))
        quality = marks.str.extract(r"^[^,]*,\s*([^,]*)", expand=False).fillna("")
        failed = quality.ne("") & text_values.ne("")
        if failed.any():
            left_out[f"{name} failed the quality check"] = int(failed.sum())
        values = pd.to_numeric(text_values.where(text_values.ne(""))).astype(float)
        days[name.lower()] = values.where(~failed & (values > -999)).to_numpy()
    if days.isna().all(axis=None):
        raise ServiceError("absent", "has no day of that time")
    days.attrs["left_out"] = dict(left_out)
    return believable(days, f" for station {station}")
