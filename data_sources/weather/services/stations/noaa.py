"""NOAA's stations: GHCN-Daily, a station's whole record in a file, and NCEI's daily summaries as CSV.

Both find their stations in the lists of GHCN-Daily, with columns as in its readme.
"""

from __future__ import annotations

import io
import re
from collections import Counter
from collections.abc import Sequence
from datetime import date
from functools import partial
from operator import itemgetter
from pathlib import Path

import numpy as np
import pandas as pd

from data_sources.gazetteer import distance
from data_sources.weather.files.daily import read_ghcn
from data_sources.weather.services.protocol.checks import believable
from data_sources.weather.services.protocol.service import FetchSpan, Spot
from data_sources.weather.services.stations.blend import Station, StationDays
from data_sources.weather.services.stations.station_service import DAY, Days, Piece, StationService
from data_sources.weather.services.transport.faults import ServiceError, parser, refuse_page
from phenology.model.errors import WeatherError

LISTS = "https://www.ncei.noaa.gov/pub/data/ghcn/daily"
ATTRIBUTION = (
    "NOAA National Centers for Environmental Information, GHCN-Daily (Menne et al. 2012, "
    "doi:10.7289/V5D21VHZ), stations {}"
)
RECENT_YEARS = 1  # a station whose records end earlier than last year is of no use for a forecast
NO_HEIGHT = -999.0
SEARCHED_KM = 100.0
LINE = 266  # characters of a record's line without its last marks, which may be blank and stripped


class Noaa(StationService):
    """A service of NOAA's stations."""

    ids, like = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9}"), "GME00121150"

    def lists(self) -> str:
        """Where the lists of stations and the files lie."""
        return self.settings.addresses.get("ghcn-daily", LISTS).rstrip("/")

    def near(self, spot: Spot, today: date) -> list[Station]:
        """Stations that measure both extremes and still report, from two lists fetched once a season."""
        reach = partial(measuring_both, until=today.year - RECENT_YEARS)
        reporting = self.http.get(
            f"{self.lists()}/ghcnd-inventory.txt", reach, keep_for=90 * DAY, size=itemgetter(1)
        )
        read = partial(by_distance, wanted=reporting.value[0], spot=spot)
        return self.listed(f"{self.lists()}/ghcnd-stations.txt", read, keep_for=90 * DAY)

    def attribution(self, stations: Sequence[StationDays], days: Sequence[Days]) -> str:
        """With the ids of the stations."""
        return ATTRIBUTION.format(", ".join(one.station.id for one in stations))


@parser
def measuring_both(inventory: bytes, until: int) -> tuple[set[str], int]:
    """Ids of stations whose TMIN and TMAX both reach the year `until`, and how many lines there are.

    Examples
    --------
    >>> line = "ZZC00010001  50.1200    8.7000 {} 1990 2026"
    >>> measuring_both("\\n".join(map(line.format, ("TMAX", "TMIN", "PRCP"))).encode(), 2025)
    ({'ZZC00010001'}, 3)
    """
    found: dict[str, set[str]] = {"TMIN": set(), "TMAX": set()}
    lines = _lines(inventory, 45)
    for line in lines:
        if line[31:35] in found and int(line[41:45]) >= until and Noaa.ids.fullmatch(line[:11]):
            found[line[31:35]].add(line[:11])
    both = found["TMIN"] & found["TMAX"]
    if not both:
        raise ServiceError("damaged", f"sent a list in which no station measures in {until}")
    return both, len(lines)


@parser
def by_distance(stations: bytes, wanted: set[str], spot: Spot) -> tuple[list[Station], int]:
    """The wanted stations of a list, the nearest first, none beyond `SEARCHED_KM`; the length of the list."""
    whole = _lines(stations, 37)
    lines = [line for line in whole if line[:11] in wanted]
    if not lines:
        raise ServiceError("damaged", "sent a list without any station of its inventory")
    places = np.array([[float(line[12:20]), float(line[21:30]), float(line[31:37])] for line in lines])
    if not np.isfinite(places).all():
        raise ServiceError("damaged", "sent a list with places that are nowhere")
    away = distance(spot.latitude, spot.longitude, places[:, 0], places[:, 1]) / 1000
    near = [
        Station(
            lines[at][:11],
            lines[at][41:71].strip().title(),
            float(places[at, 2]) if places[at, 2] > NO_HEIGHT else None,
            float(away[at]),
        )
        for at in np.argsort(away)
        if away[at] <= SEARCHED_KM
    ]
    return near, len(whole)


def _lines(body: bytes, width: int) -> list[str]:
    refuse_page(body)
    lines = body.decode("ascii", "replace").splitlines()
    # A list cut off in the middle would silently hide the stations behind the cut.
    if len(lines[-1].rstrip()) < width:
        raise ServiceError("damaged", "sent a list of stations that breaks off")
    return lines


class GhcnDaily(Noaa):
    """Files of stations."""

    name, title, provider = "ghcn-daily", "NOAA GHCN-Daily", "NOAA GHCN-Daily"
    about = "measuring stations worldwide, each station's whole record in a file; public domain"
    address = LISTS

    def pieces(self, station: Station, part: FetchSpan, today: date) -> list[Piece]:
        """One file."""
        url = f"{self.lists()}/all/{station.id}.dly"
        read = partial(read_record, station=station.id)
        return [Piece(station, part.years, url, read, DAY)]


@parser
def read_record(body: bytes, station: str) -> Days:
    """The days of a station's file."""
    refuse_page(body)
    text = body.decode("ascii", "replace")
    if not text.startswith(station):
        raise ServiceError("damaged", "sent a file that is not this station's")
    # The file's values are bare digits: a line cut short could show 10.4 as 1.0.
    if any(len(line) < LINE for line in text.splitlines()):
        raise ServiceError("damaged", "sent a file that breaks off")
    try:
        weather, report = read_ghcn(Path(f"{station}.dly"), text, source="station")
    except WeatherError as error:
        why = getattr(error, "problems", ()) or [str(error).splitlines()[0]]
        raise ServiceError("damaged", f"sent a file that cannot be used: {why[0]}") from None
    days = weather.to_frame().drop(columns="source")
    days.attrs["left_out"] = dict(report.left_out)
    return believable(days)


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

    An empty body is refused: a station without a day has a header.
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
