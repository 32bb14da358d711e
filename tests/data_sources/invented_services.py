"""The weather services as they document themselves, over one invented world, and with spoilt values.

Every station, model and forecast is a view of the world, so that what a client makes of the answers can be
compared with the world itself.
"""

from __future__ import annotations

import csv
import gzip
import json
import sqlite3
import tempfile
from collections.abc import Callable, Mapping
from contextlib import closing
from copy import copy
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from email.utils import format_datetime
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np
import pandas as pd

from data_sources.demo.climate import synthetic_weather
from phenology.weather.series import DailyWeather

EVIL = "../../../../EVIL"
CHANGED: Mapping[str, tuple[int, Callable[[float], float]]] = MappingProxyType(
    {  # from how many days before the end, and what becomes of a value
        "tenfold": (100_000, lambda v: v * 10),
        "unstated_fahrenheit": (100_000, lambda v: v * 1.8 + 32),
        "fahrenheit_lately": (14, lambda v: v * 1.8 + 32),
        "five_warmer": (100_000, lambda v: v + 5),
        "fifteen_warmer_lately": (3, lambda v: v + 15),
    }
)
METEOSTAT_COLUMNS = ["temp", "tmin", "tmax", "rhum", "prcp", "snwd", "wspd", "wpgt", "pres", "tsun", "cldc"]
EPOCH = date(1970, 1, 1)


class Reply(NamedTuple):
    """What goes back."""

    status: int
    body: bytes = b""
    headers: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True)
class StandInStation:
    """A station of the stand-in: one id for meteostat, one for NOAA."""

    id: str
    name: str
    latitude: float
    longitude: float
    elevation: float | None
    since: int = 1990

    @property
    def noaa(self) -> str:
        return f"ZZC000{self.id}"


STATIONS = (
    StandInStation("10001", "Lower Orchard", 50.12, 8.70, 112),
    StandInStation("10002", "Mill Bridge", 50.02, 8.45, 95),
    StandInStation("10003", "High Heath", 50.22, 8.45, 480),
    StandInStation("10004", "East Field", 50.05, 8.98, 140),
    StandInStation("10009", "No Height", 50.11, 8.60, None),
)


@lru_cache(maxsize=512)
def _synthetic(first: date, last: date, latitude: float, seed: int) -> DailyWeather:
    return synthetic_weather(first, last, latitude, seed=seed)


class World:
    """The invented weather: daily extremes of a station, hourly air at a point."""

    def __init__(self, latitude: float = 50.1, seed: int = 7) -> None:
        self.latitude, self.seed = latitude, seed

    def days(self, first: date, last: date, elevation: float | None = 100.0) -> tuple[np.ndarray, np.ndarray]:
        """tmin and tmax at a height, to a tenth of a degree."""
        weather = _synthetic(first, last, self.latitude, self.seed)
        cooler = 6.5e-3 * ((100.0 if elevation is None else elevation) - 100.0)
        return np.round(weather.tmin - cooler, 1), np.round(weather.tmax - cooler, 1)

    def hours(self, times: np.ndarray, longitude: float, elevation: float | None = 100.0) -> np.ndarray:
        """Air temperature at some times (seconds since 1970 UTC): a sine, coldest at 3 by the sun."""
        sun = np.asarray(times) / 3600 + longitude / 15
        ordinal = (sun // 24).astype(int) + EPOCH.toordinal()
        first, last = date.fromordinal(int(ordinal.min())), date.fromordinal(int(ordinal.max()))
        low, high = self.days(first, last, elevation)
        at = ordinal - ordinal.min()
        wave = np.sin(2 * np.pi * (sun % 24 - 9) / 24)
        return np.round((low[at] + high[at]) / 2 + (high[at] - low[at]) / 2 * wave, 1)


class InventedServices:
    """All services; `kind` of an answer is what is wrong with its values."""

    def __init__(self, today: date = date(2026, 6, 14)) -> None:
        self.today, self.world = today, World()
        self.expires_in = 1800.0
        self.members = 3
        self.met_norway_status = 200

    @property
    def last_modified(self) -> str:
        """Everything is made anew every morning."""
        morning = datetime(self.today.year, self.today.month, self.today.day, 5, 38, 12, tzinfo=UTC)
        return format_datetime(morning, usegmt=True)

    def answer(self, path: str, query: dict[str, str], headers: dict[str, str], kind: str) -> Reply:
        if kind == "old":  # a service that stands still: its answer of six days ago
            before = copy(self)
            before.today -= timedelta(days=6)
            return before.answer(path, query, headers, "")
        routes: list[tuple[str, Callable[[], Reply]]] = [
            ("/v1/forecast", lambda: self._open_meteo(query, kind, "forecast")),
            ("/v1/ensemble", lambda: self._open_meteo(query, kind, "ensemble")),
            ("/v1/archive", lambda: self._open_meteo(query, kind, "archive")),
            ("/weatherapi/locationforecast", lambda: self._met_norway(path, query, headers, kind)),
            ("/access/services/data/v1", lambda: self._ncei(query, kind)),
            ("/ghcn/daily/", lambda: self._ghcn(path, kind)),
            ("/stations.db", lambda: Reply(200, self.stations_db(kind))),
            ("/daily/", lambda: self._meteostat(path, kind)),
        ]
        return next((answer() for part, answer in routes if part in path), Reply(404))

    # --- Open-Meteo --------------------------------------------------------------------------------------

    def _open_meteo(self, query: dict[str, str], kind: str, api: str) -> Reply:
        def refused(reason: str) -> Reply:
            return Reply(400, json.dumps({"error": True, "reason": reason}).encode())

        if api == "archive":
            first, last = date.fromisoformat(query["start_date"]), date.fromisoformat(query["end_date"])
            if last > self.today:
                return refused(
                    f"Parameter 'end_date' is out of allowed range from 1940-01-01 to {self.today}"
                )
        else:
            first = self.today - timedelta(days=int(query.get("past_days", "0")))
            last = self.today + timedelta(days=int(query.get("forecast_days", "7")) - 1)
        if [query.get(name) for name in ("timezone", "timeformat", "hourly")] != [
            "GMT",
            "unixtime",
            "temperature_2m",
        ]:
            return refused("the stand-in serves hourly, GMT, unixtime")
        start = (first - EPOCH).days * 86400
        times = np.arange(start, start + ((last - first).days + 1) * 86400, 3600)
        height = float(query.get("elevation", "118"))
        air = self.world.hours(times, float(query["longitude"]), height)
        values = air.astype(object)
        if api == "archive":  # the analysis is five days behind
            values[times >= ((self.today - EPOCH).days - 5) * 86400] = None
        series = {"temperature_2m": values}
        if api == "ensemble":
            for member in range(1, self.members + 1):
                away = (times - times[0]) / 86400 * 0.2 * (member - (self.members + 1) / 2)
                series[f"temperature_2m_member{member:02d}"] = np.round(air + away, 1).astype(object)
        series = {name: _spoilt(kind, column, 24) for name, column in series.items()}
        if kind == "milliseconds":
            times = times * 1000
        elif kind == "year_9999":
            times = times + (date(9999, 1, 1) - self.today).days * 86400
        if kind == "doubled":
            order = np.r_[:24, : len(times)]
            times, series = times[order], {name: column[order] for name, column in series.items()}
        answer = {
            "latitude": round(float(query["latitude"]) + 0.01, 6),
            "longitude": round(float(query["longitude"]) - 0.01, 6),
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "elevation": height,
            "hourly_units": {"time": "unixtime", "temperature_2m": "°F" if kind == "fahrenheit" else "°C"},
            "hourly": {"time": times.tolist(), **{n: c.tolist() for n, c in series.items()}},
        }
        return Reply(200, json.dumps([answer, answer] if kind == "list" else answer).encode())

    # --- MET Norway --------------------------------------------------------------------------------------

    def _met_norway(self, path: str, query: dict[str, str], headers: dict[str, str], kind: str) -> Reply:
        agent = headers.get("user-agent", "")
        if "@" not in agent and "://" not in agent:
            return Reply(403, b"<html><body>Forbidden</body></html>", {"Content-Type": "text/html"})
        if any(len(query[name].partition(".")[2]) > 4 for name in ("lat", "lon")):
            return Reply(403)
        expires = format_datetime(datetime.now(UTC) + timedelta(seconds=self.expires_in), usegmt=True)
        more = {"Expires": expires, "Last-Modified": self.last_modified}
        if headers.get("if-modified-since") == self.last_modified:
            return Reply(304, b"", more)
        start = (self.today - EPOCH).days * 86400 + 6 * 3600
        hourly = np.arange(start, start + 60 * 3600, 3600)
        times = np.r_[hourly, np.arange(start + 60 * 3600, start + 9 * 86400, 6 * 3600)]
        height, east = float(query.get("altitude", "118")), float(query["lon"])
        air = _spoilt(kind, self.world.hours(times, east, height).astype(object), 24)
        rows: list[dict[str, Any]] = []
        for n, (time, value) in enumerate(zip(times, air, strict=True)):
            details = {} if value is None else {"air_temperature": value}
            data: dict[str, Any] = {"instant": {"details": details}}
            if n >= len(hourly):
                block = self.world.hours(np.arange(time, time + 6 * 3600 + 1, 600), east, height)
                extremes = {"air_temperature_max": block.max(), "air_temperature_min": block.min()}
                data["next_6_hours"] = {"details": extremes if path.endswith("complete") else {}}
            stamp = datetime.fromtimestamp(int(time), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
            stamp = f"9999{stamp[4:]}" if kind == "year_9999" else stamp
            stamp = str(int(time) * 1000) if kind == "milliseconds" else stamp
            rows.append({"time": stamp, "data": data})
        if kind == "doubled":
            rows.insert(3, rows[3])
        answer = {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [east, float(query["lat"]), height]},
            "properties": {"meta": {"units": {"air_temperature": "celsius"}}, "timeseries": rows},
        }
        return Reply(self.met_norway_status, json.dumps(answer).encode(), more)

    # --- stations ----------------------------------------------------------------------------------------

    def _station_days(self, station: StandInStation, first: date, last: date, kind: str) -> pd.DataFrame:
        """Days with `tmin` and `tmax`, None where unknown; two days behind."""
        first, last = max(first, date(station.since, 1, 1)), min(last, self.today - timedelta(days=2))
        if last < first:
            return pd.DataFrame({"day": [], "tmin": [], "tmax": []})
        columns = zip(("tmin", "tmax"), self.world.days(first, last, station.elevation), strict=True)
        days = pd.DataFrame({name: _spoilt(kind, values.astype(object), 1) for name, values in columns})
        days.insert(0, "day", [first + timedelta(days=n) for n in range(len(days))])
        if kind == "year_9999":
            days.loc[len(days) - 1, "day"] = date(9999, 12, 31)
        return days.iloc[np.r_[:4, 3, 4 : len(days)]] if kind == "doubled" else days

    def _ncei(self, query: dict[str, str], kind: str) -> Reply:
        if query.get("format") != "csv" or query.get("dataset") != "daily-summaries":
            return Reply(400, json.dumps({"errorMessage": "Unsupported dataset or format"}).encode())
        unit = 1 if query.get("units") == "metric" else 10  # of a degree
        first, last = date.fromisoformat(query["startDate"]), date.fromisoformat(query["endDate"])
        table = pd.DataFrame(
            columns=["STATION", "DATE", "NAME", "TMAX", "TMAX_ATTRIBUTES", "TMIN", "TMIN_ATTRIBUTES"]
        )
        for station in STATIONS:
            if station.noaa in query["stations"].split(","):
                days = self._station_days(station, first, last, kind)
                own = pd.DataFrame({"STATION": station.noaa, "DATE": days["day"], "NAME": station.name})
                for name in ("TMAX", "TMIN"):
                    own[name] = [_cell(v, unit, "6.1f") for v in days[name.lower()]]
                    own[f"{name}_ATTRIBUTES"] = ",,7,0800"
                if kind == "flagged":
                    own.loc[5, "TMIN_ATTRIBUTES"] = ",I,7,0800"
                table = pd.concat([table, own]) if len(table) else own
        return Reply(200, table.to_csv(index=False, quoting=csv.QUOTE_ALL).encode())

    def _ghcn(self, path: str, kind: str) -> Reply:
        name = path.rsplit("/", 1)[1]
        if name == "ghcnd-stations.txt":
            heights = [-999.9 if s.elevation is None else s.elevation for s in STATIONS]
            lines = [
                f"{s.noaa:11} {s.latitude:8.4f} {s.longitude:9.4f} {height:6.1f}    {s.name.upper():30}"
                for s, height in zip(STATIONS, heights, strict=True)
            ]
            return Reply(200, "\n".join(_spoilt_list(kind, lines)).encode())
        if name == "ghcnd-inventory.txt":
            lines = [
                f"{s.noaa:11} {s.latitude:8.4f} {s.longitude:9.4f} {element} {s.since} {self.today.year}"
                for s in STATIONS
                for element in ("TMAX", "TMIN", "PRCP")
            ]
            return Reply(200, "\n".join(_spoilt_list(kind, lines)).encode())
        station = next((s for s in STATIONS if s.noaa == name.removesuffix(".dly")), None)
        if station is None:
            return Reply(404)
        scale, spoil = (100, "") if kind == "tenfold" else (10, kind)
        months: dict[tuple[int, int, str], list[str]] = {}
        days = self._station_days(station, date(station.since, 1, 1), self.today, spoil)
        for day, low, high in days.itertuples(index=False):
            for element, value in (("TMAX", high), ("TMIN", low)):
                row = months.setdefault((day.year, day.month, element), [f"{-9999:5d}   "] * 31)
                row[day.day - 1] = f"{-9999 if value is None else _cell(value, scale, '5.0f'):>5}  7"
        lines = [f"{station.noaa}{y:04d}{m:02d}{e}{''.join(v)}" for (y, m, e), v in months.items()]
        if kind == "doubled":
            lines.insert(1, lines[0])
        return Reply(200, "\n".join(lines).encode(), {"Last-Modified": self.last_modified})

    def _meteostat(self, path: str, kind: str) -> Reply:
        year, name = path.rsplit("/", 2)[-2:]
        key = name.removesuffix(".csv.gz")
        if not any(s.id == key and s.since <= int(year) <= self.today.year for s in STATIONS):
            return Reply(404)
        return Reply(200, self.station_year(key, int(year), kind), {"Last-Modified": self.last_modified})

    def station_year(
        self, key: str, year: int, kind: str = "", change: Callable[[pd.DataFrame], object] | None = None
    ) -> bytes:
        """One daily file, gzipped; the last days of the present year are model rows, as published."""
        station = next(s for s in STATIONS if s.id == key)
        days = self._station_days(station, date(year, 1, 1), date(year, 12, 31), kind)
        if change is not None:
            change(days)
        when = pd.to_datetime(days["day"])
        rows = pd.DataFrame({part: getattr(when.dt, part) for part in ("year", "month", "day")})
        recent = when > pd.Timestamp(self.today - timedelta(days=5))
        for column in METEOSTAT_COLUMNS:
            rows[column] = days.get(column, None)
            ids = recent.map({True: "dwd_hourly dwd_mosmix", False: "zz_daily"})
            rows[f"{column}_source"] = ids.where(rows[column].notna())
        return gzip.compress(rows.to_csv(index=False).encode(), mtime=0)

    @staticmethod
    @lru_cache(maxsize=8)
    def stations_db(kind: str = "") -> bytes:
        """The list of stations, as far as anybody looks at it."""
        listed = {"half_list": STATIONS[:2], "empty_list": ()}.get(kind, STATIONS)
        rows = [(s.id, "ZZ", None, s.latitude, s.longitude, s.elevation) for s in listed]
        if kind == "evil_list":
            rows = [(EVIL + row[0], *row[1:]) for row in rows]
        stations = pd.DataFrame(rows, columns=range(6))
        stations = stations.set_axis(
            ["id", "country", "region", "latitude", "longitude", "elevation"], axis=1
        )
        tables = {
            "stations": stations.assign(timezone="Europe/Berlin"),
            "names": pd.DataFrame(
                {"station": stations["id"], "language": "en", "name": [s.name for s in listed]}
            ),
            "identifiers": pd.DataFrame({"station": [], "key": [], "value": []}),
            "inventory": pd.DataFrame(
                [
                    (key, "zz_daily", part, "1990-01-01", "2026-06-14", 0.99)
                    for key in stations["id"]
                    for part in ("tmin", "tmax")
                ],
                columns=["station", "provider", "parameter", "start", "end", "completeness"],
            ),
        }
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "stations.db"
            with closing(sqlite3.connect(path)) as made:
                for name, table in tables.items():
                    table.to_sql(name, made, index=False)
            return path.read_bytes()


def _spoilt_list(kind: str, lines: list[str]) -> list[str]:
    """A list of stations with a fault."""
    if kind == "evil_list":
        return [EVIL[:11] + line[11:] for line in lines]
    return {"half_list": lines[: len(lines) // 2], "empty_list": ["", ""]}.get(kind, lines)


def _cell(value: Any, scale: float, form: str) -> str:
    return "" if value is None else value if isinstance(value, str) else f"{value * scale:{form}}"


def _spoilt(kind: str, column: np.ndarray, a_day: int) -> np.ndarray:
    """A column of values with a data fault; `a_day` is the number of values in a day."""
    out = column.copy()
    n = len(out)
    if kind == "nulls_end":
        out[-min(3 * a_day, n // 2) :] = None
    elif kind == "nulls_inside":
        out[n // 2 : n // 2 + min(2 * a_day, n // 4)] = None
    elif kind == "hot" and n > 2 * a_day:
        out[2 * a_day + a_day // 2] = 72.0
    elif kind == "nulls_all":
        out[:] = None
    elif kind == "zeros":
        out[:] = 0.0
    elif kind == "no_number" and n:
        out[n // 2] = "abc"
    elif kind == "infinite" and n:
        out[n // 2] = float("inf")
    elif kind in CHANGED:
        start = max(n - CHANGED[kind][0] * a_day, 0)
        change = CHANGED[kind][1]
        out[start:] = [None if v is None else round(change(v), 1) for v in out[start:]]
    return out
