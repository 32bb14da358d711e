"""Checksums of what the weather store holds: they show a flipped bit that SQLite cannot see."""

from __future__ import annotations

import sqlite3
import zlib
from collections import defaultdict

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
    return f"a temperature of {beyond[0]} to {beyond[1]} degC" if beyond else None


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
