"""A local server that answers as the weather services document it, and misbehaves when told to.

Real HTTP on 127.0.0.1. The weather is invented: every station, model and forecast is a view of one world,
so that what a client makes of the answers can be compared with the world itself.
"""

from __future__ import annotations

import csv
import gzip
import io
import json
import math
import sqlite3
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from email.utils import format_datetime
from functools import lru_cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import numpy as np

from data_sources.demo.climate import synthetic_weather
from phenology.weather.series import DailyWeather

METEOSTAT_COLUMNS = ["temp", "tmin", "tmax", "rhum", "prcp", "snwd", "wspd", "wpgt", "pres", "tsun", "cldc"]
HTML = b"<!DOCTYPE html><html><body><h1>Back soon</h1></body></html>"


@dataclass(frozen=True)
class StandInStation:
    """A station of the stand-in: one id for meteostat, one for NOAA."""

    id: str
    noaa: str
    name: str
    latitude: float
    longitude: float
    elevation: float | None
    since: int = 1990


STATIONS = (
    StandInStation("10001", "ZZC00010001", "Lower Orchard", 50.12, 8.70, 112),
    StandInStation("10002", "ZZC00010002", "Mill Bridge", 50.02, 8.45, 95),
    StandInStation("10003", "ZZC00010003", "High Heath", 50.22, 8.45, 480),
    StandInStation("10004", "ZZC00010004", "East Field", 50.05, 8.98, 140),
    StandInStation("10009", "ZZC00010009", "No Height", 50.11, 8.60, None),
)


@dataclass
class Asked:
    """One request as it came in."""

    path: str
    query: dict[str, str]
    headers: dict[str, str]


@dataclass
class Fault:
    """Something wrong with every path that holds `where`; `times` counts down, None is for ever."""

    where: str
    kind: str
    times: int | None = None
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes | None = None


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

    def hours(self, moments: np.ndarray, longitude: float, elevation: float | None = 100.0) -> np.ndarray:
        """Air temperature at moments (seconds since 1970 UTC): a sine, coldest at 3 by the sun."""
        sun = np.asarray(moments) / 3600 + longitude / 15
        ordinal = (sun // 24).astype(int) + date(1970, 1, 1).toordinal()
        first, last = date.fromordinal(int(ordinal.min())), date.fromordinal(int(ordinal.max()))
        low, high = self.days(first, last, elevation)
        at = ordinal - ordinal.min()
        wave = np.sin(2 * np.pi * (sun % 24 - 9) / 24)
        return np.round((low[at] + high[at]) / 2 + (high[at] - low[at]) / 2 * wave, 1)


class StandIn:
    """The server. `fault(where, kind)` makes paths misbehave, `mend()` ends it, `asked` is the log."""

    def __init__(
        self, today: date = date(2026, 6, 14), stations: tuple[StandInStation, ...] = STATIONS
    ) -> None:
        self.today, self.stations, self.world = today, stations, World()
        self.asked: list[Asked] = []
        self.faults: list[Fault] = []
        self.expires_in = 1800.0
        self.last_modified = format_datetime(datetime(2026, 6, 14, 5, 38, 12, tzinfo=UTC), usegmt=True)
        self.members = 3
        self.status: dict[str, int] = {}
        self.drip = 0.05
        stand_in = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_GET(self) -> None:
                stand_in._serve(self)

            def log_message(self, *_: Any) -> None:
                pass

        class Server(ThreadingHTTPServer):
            daemon_threads = True

            def handle_error(self, *_: Any) -> None:
                pass  # a client that went away is part of the play

        self._server = Server(("127.0.0.1", 0), Handler)
        self.base = f"http://127.0.0.1:{self._server.server_address[1]}"
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.01,), daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Close the port: from now on nothing can be reached."""
        self._server.shutdown()
        self._server.server_close()
        self._thread.join()

    def fault(self, where: str, kind: str, times: int | None = None, **more: Any) -> None:
        self.faults.append(Fault(where, kind, times, **more))

    def mend(self) -> None:
        self.faults.clear()

    def paths(self, where: str = "") -> list[str]:
        return [a.path for a in self.asked if where in a.path]

    # --- serving -----------------------------------------------------------------------------------------

    def _fault_for(self, path: str) -> Fault | None:
        for fault in self.faults:
            if fault.where in path and (fault.times is None or fault.times > 0):
                if fault.times is not None:
                    fault.times -= 1
                return fault
        return None

    def _serve(self, handler: BaseHTTPRequestHandler) -> None:
        url = urlsplit(handler.path)
        query = {key: values[0] for key, values in parse_qs(url.query, keep_blank_values=True).items()}
        headers = {key.lower(): value for key, value in handler.headers.items()}
        self.asked.append(Asked(url.path, query, headers))
        fault = self._fault_for(url.path)
        kind = fault.kind if fault else ""
        if fault and kind.isdigit():
            return _send(handler, int(kind), fault.body or b"", fault.headers)
        if kind == "loop":
            return _send(handler, 302, b"", {"Location": handler.path})
        if kind == "html":
            return _send(handler, 200, HTML, {"Content-Type": "text/html"})
        if kind == "body" and fault:
            return _send(handler, 200, fault.body or b"", fault.headers)
        status, body, more = self._answer(url.path, query, headers, kind)
        if kind == "empty":
            body = b""
        elif kind == "broken":
            body = body[: len(body) // 2 + 7]
        elif kind == "cut_gzip":
            if not url.path.endswith(".gz"):
                body, more = gzip.compress(body), {**more, "Content-Encoding": "gzip"}
            body = body[: len(body) // 2]
        if kind in ("chunks", "chunks_cut", "chunks_gzip"):
            return _send_chunks(handler, body, cut=kind == "chunks_cut", packed=kind == "chunks_gzip")
        if kind in ("cut", "drip"):
            handler.send_response(status)
            handler.send_header("Content-Length", str(len(body)))
            handler.end_headers()
            if kind == "cut":
                handler.wfile.write(body[: len(body) // 2])
                handler.wfile.flush()
                handler.close_connection = True
                return
            try:
                for byte in body:
                    handler.wfile.write(bytes([byte]))
                    time.sleep(self.drip)
            except OSError:
                handler.close_connection = True
            return
        _send(handler, status, body, more)

    def _answer(
        self, path: str, query: dict[str, str], headers: dict[str, str], kind: str
    ) -> tuple[int, bytes, dict[str, str]]:
        routes: list[tuple[str, Callable[[], tuple[int, bytes, dict[str, str]]]]] = [
            ("/v1/forecast", lambda: self._open_meteo(query, kind, "forecast")),
            ("/v1/ensemble", lambda: self._open_meteo(query, kind, "ensemble")),
            ("/v1/archive", lambda: self._open_meteo(query, kind, "archive")),
            ("/weatherapi/locationforecast", lambda: self._met_norway(path, query, headers, kind)),
            ("/access/services/data/v1", lambda: self._ncei(query, kind)),
            ("/ghcn/daily/", lambda: self._ghcn(path, kind)),
            ("/stations.db", lambda: (200, self.stations_db(), {})),
            ("/daily/", lambda: self._meteostat(path, kind)),
        ]
        for part, answer in routes:
            if part in path:
                return answer()
        return 404, b"", {}

    # --- Open-Meteo --------------------------------------------------------------------------------------

    def _open_meteo(self, query: dict[str, str], kind: str, api: str) -> tuple[int, bytes, dict[str, str]]:
        if api == "archive":
            first, last = date.fromisoformat(query["start_date"]), date.fromisoformat(query["end_date"])
            if last > self.today:
                reason = f"Parameter 'end_date' is out of allowed range from 1940-01-01 to {self.today}"
                return 400, json.dumps({"error": True, "reason": reason}).encode(), {}
        else:
            first = self.today - timedelta(days=int(query.get("past_days", "0")))
            last = self.today + timedelta(days=int(query.get("forecast_days", "7")) - 1)
        if (
            "hourly" not in query
            or query.get("timezone", "GMT") != "GMT"
            or query.get("timeformat") != "unixtime"
        ):
            return (
                400,
                json.dumps({"error": True, "reason": "the stand-in serves hourly, GMT, unixtime"}).encode(),
                {},
            )
        start = (first - date(1970, 1, 1)).days * 86400
        moments = np.arange(start, start + ((last - first).days + 1) * 86400, 3600)
        height = float(query.get("elevation", "118"))
        air = self.world.hours(moments, float(query["longitude"]), height)
        values = air.astype(object)
        if api == "archive":  # the analysis is five days behind
            values[moments >= ((self.today - date(1970, 1, 1)).days - 5) * 86400] = None
        series = {"temperature_2m": values}
        if api == "ensemble":
            for member in range(1, self.members + 1):
                away = (moments - moments[0]) / 86400 * 0.2 * (member - (self.members + 1) / 2)
                series[f"temperature_2m_member{member:02d}"] = np.round(air + away, 1).astype(object)
        series = {name: _spoilt(kind, column, 24) for name, column in series.items()}
        if kind == "doubled":
            moments = np.concatenate([moments[:24], moments[:24], moments[24:]])
            series = {n: np.concatenate([c[:24], c[:24], c[24:]]) for n, c in series.items()}
        answer = {
            "latitude": round(float(query["latitude"]) + 0.01, 6),
            "longitude": round(float(query["longitude"]) - 0.01, 6),
            "generationtime_ms": 0.2,
            "utc_offset_seconds": 0,
            "timezone": "GMT",
            "timezone_abbreviation": "GMT",
            "elevation": height,
            "hourly_units": {"time": "unixtime", "temperature_2m": "°C"},
            "hourly": {"time": moments.tolist(), **{n: c.tolist() for n, c in series.items()}},
        }
        if kind == "fahrenheit":
            answer["hourly_units"]["temperature_2m"] = "°F"  # type: ignore[index]
        if kind == "list":
            return 200, json.dumps([answer, answer]).encode(), {}
        return 200, json.dumps(answer).encode(), {}

    # --- MET Norway --------------------------------------------------------------------------------------

    def _met_norway(
        self, path: str, query: dict[str, str], headers: dict[str, str], kind: str
    ) -> tuple[int, bytes, dict[str, str]]:
        agent = headers.get("user-agent", "")
        if "@" not in agent and "://" not in agent:
            return 403, b"<html><body>Forbidden</body></html>", {"Content-Type": "text/html"}
        if any(len(query[name].partition(".")[2]) > 4 for name in ("lat", "lon")):
            return 403, b"", {}
        expires = format_datetime(datetime.now(UTC) + timedelta(seconds=self.expires_in), usegmt=True)
        more = {"Expires": expires, "Last-Modified": self.last_modified, "Content-Type": "application/json"}
        if headers.get("if-modified-since") == self.last_modified:
            return 304, b"", more
        start = (self.today - date(1970, 1, 1)).days * 86400 + 6 * 3600
        hourly = np.arange(start, start + 60 * 3600, 3600)
        coarse = np.arange(start + 60 * 3600, start + 9 * 86400, 6 * 3600)
        moments = np.concatenate([hourly, coarse])
        height, east = float(query.get("altitude", "118")), float(query["lon"])
        air = _spoilt(kind, self.world.hours(moments, east, height).astype(object), 24)
        rows: list[dict[str, Any]] = []
        for n, (moment, value) in enumerate(zip(moments, air, strict=True)):
            details = {} if value is None else {"air_temperature": value}
            data: dict[str, Any] = {"instant": {"details": details}}
            if n >= len(hourly):
                block = self.world.hours(np.arange(moment, moment + 6 * 3600 + 1, 600), east, height)
                extremes = {"air_temperature_max": block.max(), "air_temperature_min": block.min()}
                data["next_6_hours"] = {"details": extremes if path.endswith("complete") else {}}
            stamp = datetime.fromtimestamp(int(moment), UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
            rows.append({"time": stamp, "data": data})
        if kind == "doubled":
            rows.insert(3, rows[3])
        answer = {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [east, float(query["lat"]), height]},
            "properties": {
                "meta": {"updated_at": "2026-06-14T05:38:12Z", "units": {"air_temperature": "celsius"}},
                "timeseries": rows,
            },
        }
        return self.status.get("met", 200), json.dumps(answer).encode(), more

    # --- NOAA --------------------------------------------------------------------------------------------

    def _station_days(self, key: str, first: date, last: date, kind: str) -> Iterator[tuple[date, Any, Any]]:
        station = next((s for s in self.stations if key in (s.id, s.noaa)), None)
        last = min(last, self.today - timedelta(days=2))
        if station is None or last < first:
            return
        first = max(first, date(station.since, 1, 1))
        low, high = self.world.days(first, last, station.elevation)
        for at, (a, b) in enumerate(
            zip(_spoilt(kind, low.astype(object), 1), _spoilt(kind, high.astype(object), 1), strict=True)
        ):
            yield first + timedelta(days=at), a, b
            if kind == "doubled" and at == 3:
                yield first + timedelta(days=at), a, b

    def _ncei(self, query: dict[str, str], kind: str) -> tuple[int, bytes, dict[str, str]]:
        if query.get("format") != "csv" or query.get("dataset") != "daily-summaries":
            return 400, json.dumps({"errorMessage": "Unsupported dataset or format"}).encode(), {}
        out = io.StringIO()
        writer = csv.writer(out, quoting=csv.QUOTE_ALL)
        head = ["STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME"]
        writer.writerow([*head, "TMAX", "TMAX_ATTRIBUTES", "TMIN", "TMIN_ATTRIBUTES"])
        scale = {"metric": lambda v: f"{v:6.1f}", "standard": lambda v: f"{v * 1.8 + 32:6.0f}"}.get(
            query.get("units", ""), lambda v: f"{v * 10:6.0f}"
        )
        first, last = date.fromisoformat(query["startDate"]), date.fromisoformat(query["endDate"])
        for key in query["stations"].split(","):
            station = next((s for s in self.stations if s.noaa == key), None)
            if station is None:
                continue
            where = [station.latitude, station.longitude, station.elevation, station.name]
            for n, (day, low, high) in enumerate(self._station_days(key, first, last, kind)):
                cells = ["" if v is None else scale(v) for v in (high, low)]
                flag = ",I,7,0800" if kind == "flagged" and n == 5 else ",,7,0800"
                writer.writerow([key, day, *where, cells[0], ",,7,0800", cells[1], flag])
        return 200, out.getvalue().encode(), {"Content-Type": "text/csv"}

    def _ghcn(self, path: str, kind: str) -> tuple[int, bytes, dict[str, str]]:
        name = path.rsplit("/", 1)[1]
        if name == "ghcnd-stations.txt":
            lines = [
                f"{s.noaa:11} {s.latitude:8.4f} {s.longitude:9.4f} "
                f"{-999.9 if s.elevation is None else s.elevation:6.1f}    {s.name.upper():30}"
                for s in self.stations
            ]
            return 200, "\n".join(lines).encode(), {}
        if name == "ghcnd-inventory.txt":
            lines = [
                f"{s.noaa:11} {s.latitude:8.4f} {s.longitude:9.4f} {element} {s.since} {self.today.year}"
                for s in self.stations
                for element in ("TMAX", "TMIN", "PRCP")
            ]
            return 200, "\n".join(lines).encode(), {}
        key = name.removesuffix(".dly")
        station = next((s for s in self.stations if s.noaa == key), None)
        if station is None:
            return 404, b"", {}
        months: dict[tuple[int, int, str], list[str]] = {}
        spoil = kind if kind != "tenfold" else ""
        for day, low, high in self._station_days(key, date(station.since, 1, 1), self.today, spoil):
            for element, value in (("TMAX", high), ("TMIN", low)):
                row = months.setdefault((day.year, day.month, element), [f"{-9999:5d}   "] * 31)
                number = round(value * (100 if kind == "tenfold" else 10)) if value is not None else -9999
                row[day.day - 1] = f"{number:5d}  7"
        lines = [f"{key}{y:04d}{m:02d}{e}{''.join(v)}" for (y, m, e), v in months.items()]
        if kind == "doubled":
            lines.insert(1, lines[0])
        return 200, "\n".join(lines).encode(), {"Last-Modified": self.last_modified}

    # --- meteostat ---------------------------------------------------------------------------------------

    def _meteostat(self, path: str, kind: str) -> tuple[int, bytes, dict[str, str]]:
        year, name = path.rsplit("/", 2)[-2:]
        key = name.removesuffix(".csv.gz")
        station = next((s for s in self.stations if s.id == key), None)
        if station is None or int(year) < station.since or int(year) > self.today.year:
            return 404, b"", {}
        return 200, self.station_year(key, int(year), kind), {"Last-Modified": self.last_modified}

    def station_year(self, key: str, year: int, kind: str = "", *, model_tail: bool = True) -> bytes:
        """One daily file, gzipped; the last days of the present year are model rows, as published."""
        out = io.StringIO()
        columns = [name for column in METEOSTAT_COLUMNS for name in (column, f"{column}_source")]
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(["year", "month", "day", *columns])
        rows = list(self._station_days(key, date(year, 1, 1), date(year, 12, 31), kind))
        for day, low, high in rows:
            origin = "zz_daily" if (self.today - day).days > 4 or not model_tail else "dwd_hourly dwd_mosmix"
            row: list[object] = [day.year, day.month, day.day]
            for column in METEOSTAT_COLUMNS:
                value = {"tmin": low, "tmax": high}.get(column)
                row += ["", ""] if value is None else [value, origin]
            writer.writerow(row)
        return gzip.compress(out.getvalue().encode(), mtime=0)

    def stations_db(self) -> bytes:
        """The list of stations as SQLite."""
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "stations.db"
            made = sqlite3.connect(path)
            made.executescript(
                """
                CREATE TABLE `stations` (`id` char(5) NOT NULL PRIMARY KEY, `country` varchar(2),
                  `region` varchar(5), `latitude` float(8,4), `longitude` float(8,4), `elevation` int(4),
                  `timezone` varchar(30));
                CREATE TABLE `names` (`station` char(5) NOT NULL, `language` char(2) NOT NULL,
                  `name` varchar(255) NOT NULL, PRIMARY KEY (`station`,`language`));
                CREATE TABLE `identifiers` (`station` char(5) NOT NULL, `key` varchar(255) NOT NULL,
                  `value` varchar(255) NOT NULL, PRIMARY KEY (`station`,`key`));
                CREATE TABLE `inventory` (`station` char(5) NOT NULL, `provider` varchar(30) NOT NULL,
                  `parameter` varchar(10) NOT NULL, `start` date, `end` date, `completeness` float,
                  PRIMARY KEY (`station`,`provider`,`parameter`));
                """
            )
            for s in self.stations:
                made.execute(
                    "INSERT INTO stations VALUES (?, 'ZZ', NULL, ?, ?, ?, 'Europe/Berlin')",
                    (s.id, s.latitude, s.longitude, s.elevation),
                )
                made.execute("INSERT INTO names VALUES (?, 'en', ?)", (s.id, s.name))
                for parameter in ("tmin", "tmax"):
                    span = (date(s.since, 1, 1).isoformat(), self.today.isoformat())
                    made.execute(
                        "INSERT INTO inventory VALUES (?, 'zz_daily', ?, ?, ?, 0.99)",
                        (s.id, parameter, *span),
                    )
            made.commit()
            made.close()
            return path.read_bytes()


def _spoilt(kind: str, column: np.ndarray, a_day: int) -> np.ndarray:
    """A column of values with a data fault; `a_day` is the number of values in a day."""
    out = column.copy()
    n = len(out)
    if kind == "nulls_end":
        out[-min(3 * a_day, n // 2) :] = None
    elif kind == "nulls_inside":
        middle = n // 2
        out[middle : middle + min(2 * a_day, n // 4)] = None
    elif kind == "hot" and n > 2 * a_day:
        out[2 * a_day + a_day // 2] = 72.0
    elif kind == "tenfold":
        out = np.array([None if v is None else round(v * 10, 1) for v in out], dtype=object)
    elif kind == "nan":
        out[n // 2] = math.nan
    return out


def _send(handler: BaseHTTPRequestHandler, status: int, body: bytes, headers: dict[str, str]) -> None:
    handler.send_response(status)
    for name, value in headers.items():
        handler.send_header(name, value)
    if status != 304:
        handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    if status != 304:
        handler.wfile.write(body)


def _send_chunks(handler: BaseHTTPRequestHandler, body: bytes, *, cut: bool, packed: bool) -> None:
    """Without a length, piece by piece, as servers do that make their answer while sending it."""
    handler.send_response(200)
    handler.send_header("Transfer-Encoding", "chunked")
    if packed:
        body = gzip.compress(body)
        handler.send_header("Content-Encoding", "gzip")
    handler.end_headers()
    for at in range(0, len(body) // 2 if cut else len(body), 700):
        piece = body[at : at + 700]
        handler.wfile.write(f"{len(piece):x}\r\n".encode() + piece + b"\r\n")
    if cut:
        handler.close_connection = True
    else:
        handler.wfile.write(b"0\r\n\r\n")
