"""The station files of Meteostat, fetched by our own client and kept on disk: a year of a station a file.

The station library would fetch them itself, but without a time limit, swallowing every failure, and with a
cache in which a failure pushes out the good copy. So it only reads what we have fetched and looked at.
A file is replaced only by one that is whole and holds as many days.
"""

from __future__ import annotations

import gzip
import os
import sqlite3
import time
import zlib
from collections.abc import Iterable
from contextlib import suppress
from datetime import UTC, date, datetime
from pathlib import Path

from data_sources.weather.services.http import Http
from data_sources.weather.services.http_faults import refuse_page
from data_sources.weather.services.protocol import ServiceError

STATIONS_DB_FOR = 7 * 86400.0  # s a list of stations is good
FRESH_FOR = 20 * 3600.0  # s a file is good while its year may still change
SETTLED_AFTER = 100  # days after its end a year changes no more
ABSENT_FOR = 30 * 86400.0  # s until a file that was not there is asked for again
TABLES = {"stations", "names", "identifiers", "inventory"}


class MeteostatFiles:
    """The folder of fetched files.

    Parameters
    ----------
    folder : Path
        Made when missing.
    base : str
        Address of the service.
    http : Http
    """

    def __init__(self, folder: Path, base: str, http: Http) -> None:
        self.folder, self._base, self._http = folder, base, http

    @property
    def stations_db(self) -> Path:
        """Where the list of stations lies."""
        return self.folder / "stations.db"

    def path(self, station: str, year: int) -> Path:
        """Where a station's year lies."""
        return self.folder / "daily" / str(year) / f"{station}.csv.gz"

    def list_of_stations(self) -> str:
        """See to it that there is a sound list of stations; says why when it is an old one.

        Raises
        ------
        ServiceError
            If there is none, neither new nor old.
        """
        path = self.stations_db
        sound = path.exists() and is_stations_db(path)
        if path.exists() and not sound:
            path.unlink()  # a broken list would be used for ever
        if sound and _age(path) < STATIONS_DB_FOR:
            return ""
        new = path.with_suffix(".new")
        try:
            for attempt in (1, 2):
                body = self._http.get(f"{self._base}/stations.db", bytes, cached=False).value
                _write(new, body)
                if is_stations_db(new):
                    break
                if attempt == 2:
                    refuse_page(body)
                    raise ServiceError("damaged", "sent a broken list of stations")
            new.replace(path)
        except ServiceError as error:
            if not sound:
                raise
            return error.words
        finally:
            new.unlink(missing_ok=True)
        return ""

    def fresh(self, station: str, year: int, today: date) -> bool:
        """Whether a year of a station need not be asked for: we have it, or know that it is not there."""
        path = self.path(station, year)
        settled = (today - date(year, 12, 31)).days > SETTLED_AFTER
        if path.exists():
            # A year fetched once it was settled stays as it is.
            if settled and _mtime(path) > time.time() - (today - date(year, 12, 31)).days * 86400.0:
                return True
            return _age(path) < FRESH_FOR
        absent = self._absent(station, year)
        return absent.exists() and _age(absent) < (ABSENT_FOR if settled else FRESH_FOR)

    def fetch(self, station: str, year: int) -> None:
        """Fetch a year of a station; the file before stays when this fails in any way.

        Raises
        ------
        ServiceError
            What went wrong. "absent" is remembered.
        """
        path = self.path(station, year)
        try:
            body = self._http.get(f"{self._base}/daily/{year}/{station}.csv.gz", bytes, cached=False).value
            text = unpacked(body)
            days = check_year(text, year)
        except ServiceError as error:
            if error.fault == "absent" and not path.exists():
                _write(self._absent(station, year), b"")
            raise
        before = 0
        with suppress(ServiceError, FileNotFoundError):
            before = check_year(unpacked(path.read_bytes()), year)
        if days < before:
            raise ServiceError("damaged", f"sent {days} days where it had sent {before}")
        _write(path, gzip.compress(text, mtime=0))
        self._absent(station, year).unlink(missing_ok=True)

    def have(self, stations: Iterable[str], years: Iterable[int]) -> set[tuple[str, int]]:
        """Which of the stations' years are here."""
        wanted = list(years)
        return {(s, y) for s in stations for y in wanted if self.path(s, y).exists()}

    def fetched_at(self, parts: Iterable[tuple[str, int]]) -> datetime:
        """When the newest of some files was fetched."""
        times = [_mtime(self.path(*part)) for part in parts]
        return datetime.fromtimestamp(max(times), UTC)

    def _absent(self, station: str, year: int) -> Path:
        return self.path(station, year).with_suffix(".none")


def is_stations_db(path: Path) -> bool:
    """Whether a file is a whole list of stations."""
    try:
        with path.open("rb") as file:
            if file.read(16) != b"SQLite format 3\x00":
                return False
        made = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True)
        try:
            names = {row[0] for row in made.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
            if not names >= TABLES or made.execute("PRAGMA quick_check").fetchone()[0] != "ok":
                return False
            return bool(made.execute("SELECT count(*) FROM stations").fetchone()[0])
        finally:
            made.close()
    except (OSError, sqlite3.Error):
        return False


def unpacked(body: bytes) -> bytes:
    """The text of a station file; some ways unpack it before it gets here.

    Raises
    ------
    ServiceError
        If the packing is cut off or broken.
    """
    refuse_page(body)
    if body[:2] != b"\x1f\x8b":
        return body
    try:
        return gzip.decompress(body)
    except (OSError, EOFError, zlib.error):
        raise ServiceError("damaged", "sent a file that is cut off or damaged") from None


def check_year(text: bytes, year: int) -> int:
    """How many days with a minimum or a maximum a station's year holds.

    Raises
    ------
    ServiceError
        If it is no such file, is of another year, breaks off, or holds a day twice.
    """
    lines = text.decode("utf-8", "replace").splitlines()
    head = lines[0].split(",") if lines else []
    if head[:3] != ["year", "month", "day"] or not {"tmin", "tmin_source", "tmax", "tmax_source"} <= set(
        head
    ):
        raise ServiceError("damaged", "sent a file of another shape than it documents")
    low, high = head.index("tmin"), head.index("tmax")
    days: set[tuple[str, ...]] = set()
    known = 0
    for line in lines[1:]:
        cells = line.split(",")
        if len(cells) != len(head):
            raise ServiceError("damaged", "sent a file that breaks off")
        if cells[0] != str(year):
            raise ServiceError("damaged", f"sent days of {cells[0][:8]} for the year {year}")
        day = tuple(cells[:3])
        if day in days:
            raise ServiceError("damaged", f"sent {'-'.join(c.zfill(2) for c in day)} twice")
        days.add(day)
        known += bool(cells[low] or cells[high])
    return known


def _write(path: Path, body: bytes) -> None:
    """Put a file in place as a whole."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        part = path.with_name(f"{path.name}.{os.getpid()}.part")
        part.write_bytes(body)
        part.replace(path)
    except OSError as error:
        words = f"could not be kept in {path.parent} ({(error.strerror or str(error)).lower()})"
        raise ServiceError("unready", words) from error


def _mtime(path: Path) -> float:
    return path.stat().st_mtime


def _age(path: Path) -> float:
    return time.time() - _mtime(path)
