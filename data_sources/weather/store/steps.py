"""The tables of the weather store, what tells its file from others, and checksums of what it holds.

The checksums show a flipped bit that SQLite cannot see.
"""

from __future__ import annotations

import sqlite3
import zlib
from collections import defaultdict
from pathlib import Path

from data_sources.sqlite.backups import newest_good
from data_sources.sqlite.schema import Migration, Schema

# A step that changes a table's columns must empty this one: they are sealed again by the next writing.
SEALS = ("CREATE TABLE seal (block TEXT PRIMARY KEY NOT NULL, total INTEGER NOT NULL) WITHOUT ROWID",)
DAYS_IN_BLOCK = 512
HOTTEST, COLDEST = 100.0, -100.0  # degC: no thermometer of a garden reads beyond; ours


def seal(connection: sqlite3.Connection) -> None:
    """Bring the checksums up to what the tables hold now, inside the caller's transaction."""
    found, kept = _totals(connection), _kept(connection)
    gone = [(block,) for block in kept.keys() - found.keys()]
    connection.executemany("DELETE FROM seal WHERE block = ?", gone)
    changed = [(block, total) for block, total in found.items() if kept.get(block) != total]
    connection.executemany("INSERT OR REPLACE INTO seal VALUES (?, ?)", changed)


def broken_seal(connection: sqlite3.Connection) -> str | None:
    """In words, the first block that is not as it was written, or the first value that cannot be."""
    kept = _kept(connection)
    if kept:  # else it was just upgraded, and the next writing seals it
        found = _totals(connection)
        for block in sorted(kept.keys() | found.keys()):
            if kept.get(block) != found.get(block):
                return f"its {block.split()[0]} rows do not match their checksum"
    query = "SELECT tmin, tmax FROM day WHERE ifnull(tmin, tmax) < ? OR ifnull(tmax, tmin) > ?"
    beyond = connection.execute(query, (COLDEST, HOTTEST)).fetchone()
    return f"a temperature of {beyond[0]} to {beyond[1]} °C" if beyond else None


def _kept(connection: sqlite3.Connection) -> dict[str, int]:
    return dict(connection.execute("SELECT block, total FROM seal"))


def _totals(connection: sqlite3.Connection) -> dict[str, int]:
    """Of each block the sum of its rows' CRC-32, which does not depend on their order."""
    listed = "SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'"
    totals: defaultdict[str, int] = defaultdict(int)
    for (table,) in connection.execute(f"{listed} AND name NOT IN ('seal', 'migration')").fetchall():
        for row in connection.execute(f"SELECT * FROM {table}"):
            block = table
            if table == "day":
                block = f"day {row[0]}.{row[1]}.{row[2] // DAYS_IN_BLOCK}"
            elif table == "forecast":
                block = f"forecast {row[0]}.{row[1]}"
            totals[block] += zlib.crc32(repr(row).encode("utf-8", "surrogatepass"))
    return totals


_FIRST_SHAPE = (
    "CREATE TABLE migration (version INTEGER PRIMARY KEY, at TEXT NOT NULL)",
    # The journal's ids are long text; a small number in front of every day keeps the file small.
    "CREATE TABLE place (key INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE)",
    """CREATE TABLE origin (
        key INTEGER PRIMARY KEY, provider TEXT NOT NULL, detail TEXT NOT NULL, attribution TEXT NOT NULL,
        measures TEXT NOT NULL, UNIQUE (provider, detail, attribution, measures))""",
    """CREATE TABLE batch (
        key INTEGER PRIMARY KEY AUTOINCREMENT, place INTEGER NOT NULL REFERENCES place (key),
        origin INTEGER NOT NULL REFERENCES origin (key), fetched_at TEXT NOT NULL, issued INTEGER)""",
    # Every source keeps its own value of a day (own readings and the station's must stay comparable);
    # reading picks the best. Days are proleptic Gregorian ordinals, sources ranks in SOURCES.
    """CREATE TABLE day (
        place INTEGER NOT NULL REFERENCES place (key), source INTEGER NOT NULL, day INTEGER NOT NULL,
        tmin REAL, tmax REAL, batch INTEGER NOT NULL REFERENCES batch (key),
        suspect TEXT, accepted INTEGER NOT NULL DEFAULT 0 CHECK (accepted IN (0, 1)),
        PRIMARY KEY (place, source, day),
        CHECK (tmin IS NOT NULL OR tmax IS NOT NULL), CHECK (tmin <= tmax)) WITHOUT ROWID""",
    """CREATE TABLE replaced (
        key INTEGER PRIMARY KEY, place INTEGER NOT NULL, source INTEGER NOT NULL, day INTEGER NOT NULL,
        tmin REAL, tmax REAL, batch INTEGER NOT NULL REFERENCES batch (key), suspect TEXT,
        accepted INTEGER NOT NULL, by_batch INTEGER NOT NULL REFERENCES batch (key))""",
    "CREATE INDEX replaced_day ON replaced (place, day)",
    # Member 0 is the forecast itself; 1, 2, ... are the members of an ensemble.
    """CREATE TABLE forecast (
        place INTEGER NOT NULL REFERENCES place (key), batch INTEGER NOT NULL REFERENCES batch (key),
        member INTEGER NOT NULL, day INTEGER NOT NULL, tmin REAL, tmax REAL,
        PRIMARY KEY (place, member, day, batch),
        CHECK (tmin IS NOT NULL OR tmax IS NOT NULL), CHECK (tmin <= tmax)) WITHOUT ROWID""",
)

_HELD = (
    # Of a day as its station service blended it; 1 for anything else.
    "ALTER TABLE day ADD COLUMN stations INTEGER NOT NULL DEFAULT 1",
    "ALTER TABLE replaced ADD COLUMN stations INTEGER NOT NULL DEFAULT 1",
    *(
        f"""UPDATE {table} SET stations = (SELECT 1 + length(detail) - length(replace(detail, ',', ''))
        FROM batch JOIN origin ON origin.key = origin WHERE batch.key = {table}.batch AND provider != 'file')
        WHERE source = 1 AND batch IN
        (SELECT batch.key FROM batch JOIN origin ON origin.key = origin WHERE provider != 'file')"""
        for table in ("day", "replaced")
    ),
    "ALTER TABLE batch ADD COLUMN ensemble INTEGER NOT NULL DEFAULT 0 CHECK (ensemble IN (0, 1))",
    "UPDATE batch SET ensemble = 1 WHERE key IN (SELECT batch FROM forecast WHERE member > 0)",
    # What was offered in place of a good value and waits: `seen` counts the days on which it was offered
    # (`last_seen` is the last), and with `confirmable` it is taken once it was offered often enough.
    """CREATE TABLE held (
        place INTEGER NOT NULL REFERENCES place (key), source INTEGER NOT NULL, day INTEGER NOT NULL,
        tmin REAL, tmax REAL, stations INTEGER NOT NULL, batch INTEGER NOT NULL REFERENCES batch (key),
        suspect TEXT NOT NULL, confirmable INTEGER NOT NULL CHECK (confirmable IN (0, 1)),
        seen INTEGER NOT NULL, last_seen INTEGER NOT NULL, PRIMARY KEY (place, source, day),
        CHECK (tmin IS NOT NULL OR tmax IS NOT NULL), CHECK (tmin <= tmax)) WITHOUT ROWID""",
)


def _remedy(path: Path) -> str:
    good = newest_good(path, WEATHER_SCHEMA)
    again = "move it away and add or fetch the weather again."
    if good is None:
        return f"Put back a copy, or {again}"
    copy = f"The newest good copy is {good.path}, of {good.at:%Y-%m-%d %H:%M} UTC"
    return f"{copy}: put it in its place, or {again}"


# Rollback mode: the store is read often and written rarely, and one file can be copied at any quiet time.
WEATHER_SCHEMA = Schema(
    noun="weather store",
    application_id=0x464C5557,  # "FLUW"
    steps=(
        Migration("days by source, their history, forecasts", _FIRST_SHAPE),
        Migration("stations of a day, corrections that wait", _HELD),
        Migration("checksums, block by block", SEALS),
    ),
    recording="INSERT INTO migration VALUES (:version, :at)",
    write_ahead=False,
    remedy=_remedy,
    content_fault=broken_seal,
)
