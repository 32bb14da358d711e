"""NOAA NCEI's daily summaries: stations worldwide as CSV, each value with the mark of its quality check."""

from __future__ import annotations

import csv
import io
import math
from collections import Counter
from collections.abc import Iterator
from datetime import date

from data_sources.weather.services.http import Http
from data_sources.weather.services.http_faults import refuse_page
from data_sources.weather.services.noaa_stations import near_stations
from data_sources.weather.services.protocol import (
    Answer,
    Gives,
    Progress,
    Round,
    ServiceError,
    Spot,
    Station,
    StationDays,
    no_progress,
    span_rounds,
)
from data_sources.weather.services.settings import WeatherSettings
from data_sources.weather.services.stations_near import (
    blended_answer,
    choose,
    first_rounds,
    station_days,
)

PROVIDER = "NOAA NCEI"
ATTRIBUTION = (
    "NOAA National Centers for Environmental Information, GHCN-Daily (Menne et al. 2012, "
    "doi:10.7289/V5D21VHZ), stations {}"
)
YEARS_A_CALL = 10
KEEP_OLD, KEEP_NEW = 30 * 86400.0, 86400.0

Rows = list[tuple[date, float, float]]


class NceiDaily:
    """Daily summaries of stations."""

    name, title, source = "ncei-daily", "NOAA NCEI daily summaries", "station"
    gives: Gives = "history"
    about = "measuring stations worldwide, densest in the United States; public domain"

    def __init__(self, settings: WeatherSettings, http: Http) -> None:
        self._settings, self._http = settings, http
        self._near: dict[Spot, list[Station]] = {}

    def lacks(self) -> str:
        """Nothing: it can always be asked."""
        return ""

    def rounds(self, first: date, last: date) -> list[Round]:
        """The nearest station's recent years, then ten years of all a call."""
        return first_rounds(span_rounds(first, last, YEARS_A_CALL), last)

    def fetch(self, spot: Spot, part: Round, today: date, progress: Progress = no_progress) -> Answer:
        """The stations' days of a round, brought to the spot."""
        if spot not in self._near:
            lists = self._settings.address("ghcn-daily")
            self._near[spot] = choose(near_stations(spot, lists, self._http, today), spot, self._settings)
        chosen = self._near[spot][: part.stations]
        progress(self.title, 0, 1)
        reply = self._http.get(
            self._settings.address(self.name),
            read_summaries,
            params={
                "dataset": "daily-summaries",
                "stations": ",".join(s.id for s in chosen),
                "startDate": part.first.isoformat(),
                "endDate": min(part.last, today).isoformat(),
                "dataTypes": "TMAX,TMIN",
                "format": "csv",
                "units": "metric",  # never without: it would answer in tenths
                "includeAttributes": "true",
                "includeStationLocation": "1",
                "includeStationName": "true",
            },
            keep_for=KEEP_OLD if (today - part.last).days > 200 else KEEP_NEW,
        )
        by_station, left_out = reply.value
        notes = [f"{n} values left out: {why}" for why, n in sorted(left_out.items())]
        have: list[StationDays] = []
        for station in chosen:
            rows = by_station.get(station.id, [])
            if not rows:
                notes.append(f"{station.id} has no day of {part.first.year}-{part.last.year}")
                continue
            days, more = station_days(
                station,
                [r[0] for r in rows],
                [r[1] for r in rows],
                [r[2] for r in rows],
                ["station"] * len(rows),
            )
            have.append(days)
            notes += more
        progress(self.title, 1, 1)
        return blended_answer(
            PROVIDER,
            ATTRIBUTION.format(", ".join(s.station.id for s in have)),
            have,
            spot,
            part,
            reply.fetched_at,
            notes=notes,
            asked=len(chosen),
            received=len(have),
            stale_because=reply.stale_because,
        )


def read_summaries(body: bytes) -> tuple[dict[str, Rows], Counter[str]]:
    """Rows (day, tmin, tmax) by station, NaN where missing or marked; and what was left out, counted.

    Raises
    ------
    ServiceError
        If the body is no such table. An empty one is none either: a station without a day has a header.
    """
    refuse_page(body)
    text = body.decode("utf-8-sig", "replace")
    if text.lstrip().startswith(("{", "<")):
        raise ServiceError("damaged", "sent an error instead of a table")
    table = csv.DictReader(io.StringIO(text), strict=True)
    head = table.fieldnames or []
    if not {"STATION", "DATE"} <= set(head):
        raise ServiceError("damaged", "sent a table without the columns STATION and DATE")
    found: dict[str, Rows] = {}
    left_out: Counter[str] = Counter()
    for row in _whole(table):
        if None in row or any(row[name] is None for name in head):
            raise ServiceError("damaged", "sent a table that breaks off")
        try:
            day = date.fromisoformat(row["DATE"].strip())
            low, high = (_value(row, name, left_out) for name in ("TMIN", "TMAX"))
        except ValueError:
            raise ServiceError("damaged", f"sent a row that cannot be read ({row['DATE']})") from None
        found.setdefault(row["STATION"].strip(), []).append((day, low, high))
    return found, left_out


def _whole(table: csv.DictReader[str]) -> Iterator[dict[str, str]]:
    try:
        yield from table
    except csv.Error:  # a quote that never closes
        raise ServiceError("damaged", "sent a table that breaks off") from None


def _value(row: dict[str, str], name: str, left_out: Counter[str]) -> float:
    text = row.get(name, "").strip()
    if not text:
        return math.nan
    marks = row.get(f"{name}_ATTRIBUTES", "").split(",")
    if len(marks) > 1 and marks[1].strip():
        left_out[f"{name} failed the quality check"] += 1
        return math.nan
    value = float(text)
    return value if value > -999 else math.nan
