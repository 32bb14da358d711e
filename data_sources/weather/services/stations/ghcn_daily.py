"""NOAA's GHCN-Daily files: the whole record of a station in one file."""

from __future__ import annotations

from datetime import date
from functools import partial
from pathlib import Path

from data_sources.weather.files.ghcn import read_ghcn
from data_sources.weather.services.protocol.checks import believable
from data_sources.weather.services.protocol.service import FetchSpan
from data_sources.weather.services.stations.blend import Station
from data_sources.weather.services.stations.noaa import LISTS, Noaa
from data_sources.weather.services.stations.station_service import DAY, Days, Piece
from data_sources.weather.services.transport.faults import ServiceError, parser, refuse_page
from phenology.model.errors import WeatherError

LINE = 266  # characters of a line without its last marks, which may be blank and stripped


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
    """The days of a station's file.

    Raises
    ------
    ServiceError
        If it is another station's, breaks off, or cannot be used.
    """
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
