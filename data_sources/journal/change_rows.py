"""How the change table keeps a row: without what its other columns, or another cell, say already.

Part of the file's format, so never changed but by a new step of the schema: an upgrade writes with the same
functions that read.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Mapping, Sequence
from typing import Any

USUAL: dict[str, dict[str, Any]] = {"look": {"kind": "seen", "checked": 0, "lost": 0}, "work": {"early": 0}}
"""Cells that are left out of a row where they hold this."""


def compact(table: str, row_id: str, tree_id: str | None, text: str | None) -> str | None:
    """The JSON of a row without nulls and without what `expanded` brings back; other text as it is."""
    if text is None:
        return None
    try:
        row = json.loads(text)
    except ValueError:  # damage, which stays to be seen
        return text
    if not isinstance(row, dict):
        return text
    implied = _implied(table, row_id, tree_id, row)
    kept = {name: cell for name, cell in row.items() if cell != implied.get(name)}
    return json.dumps(kept, ensure_ascii=False, separators=(",", ":"))


def expanded(table: str, row_id: str, tree_id: str | None, text: str) -> dict[str, Any]:
    """What `compact` made a row of, with what it left out; cells that are null are still absent."""
    row = json.loads(text)
    return {**_implied(table, row_id, tree_id, row), **row}


def _implied(table: str, row_id: str, tree_id: str | None, row: Mapping[str, Any]) -> dict[str, Any]:
    """What a row is taken to hold where it does not say."""
    found = {**USUAL.get(table, {}), "id": row_id}
    if tree_id is not None and table != "tree":
        found["tree_id"] = tree_id
    if (day := row.get("date_text")) is not None:
        found |= {"earliest": day, "latest": day}
    return found


def checksum(cells: Sequence[str | None]) -> int:
    """CRC-32 of the `CHANGE_CELLS` of a row: shows a flipped bit that SQLite cannot see."""
    return zlib.crc32("\x1f".join("\x00" if cell is None else cell for cell in cells).encode("utf-8"))


def carried_checksum(kept: int, *cells: str | None) -> int:
    """The checksum of a row of version 1 once it is compact; one that was wrong stays wrong."""
    *who, table, row_id, tree_id, before, after, undoes = cells
    assert table is not None and row_id is not None
    small = (compact(table, row_id, tree_id, text) for text in (before, after))
    now = checksum((*who, table, row_id, tree_id, *small, undoes))
    return now if checksum(cells) == kept else now ^ 1


FUNCTIONS: dict[str, Callable[..., Any]] = {"compact_row": compact, "carried_checksum": carried_checksum}
"""What the steps of the schema call by name."""
