"""What messages have told, kept in `messages_sent.json` by where they went: nothing is told twice.

What is about to be sent is written down before. Where a machine stops in between, nobody knows whether it
went; it then counts as sent. The file may be deleted: the next message is then a first one.
"""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from data_sources.disk.whole_files import read_note, replace_text
from data_sources.kept.issued_forecasts import issued_of, rows_of
from phenology.advice.news import Told

FILE_NAME = "messages_sent.json"
MOST_SECONDS = 600.0  # after which a message that is still under way was cut off (ours)
NOTHING = Told()


@dataclass(frozen=True)
class Sent:
    """What one receiver was told, and what was on its way when last heard of."""

    told: Told = NOTHING
    under_way: Told | None = None


def read_sent(folder: Path) -> dict[str, Sent]:
    """What each receiver was told; empty where nothing can be read."""

    def sent(one: Mapping[str, Any]) -> Sent:
        return Sent(_told(one["told"]), None if one["under_way"] is None else _told(one["under_way"]))

    return read_note(folder / FILE_NAME, lambda kept: {code: sent(one) for code, one in kept.items()}, {})


def sending_now(folder: Path, sent: Sent) -> bool:
    """Whether another process is likely to be sending what is under way, rather than to have been stopped."""
    with suppress(OSError):
        written = (folder / FILE_NAME).stat().st_mtime
        return sent.under_way is not None and time.time() - written < MOST_SECONDS
    return False


def keep_sent(folder: Path, sent: Mapping[str, Sent]) -> None:
    """Write it down; `StoreError` where the folder cannot be written, for then all would be told again."""
    rows = {
        code: {"told": _row(one.told), "under_way": None if one.under_way is None else _row(one.under_way)}
        for code, one in sent.items()
    }
    replace_text(folder / FILE_NAME, json.dumps(rows))


def _row(told: Told) -> dict[str, Any]:
    return {
        "on": None if told.on is None else told.on.isoformat(),
        "issued": rows_of(told.issued),
        "stops": dict(told.stops),
        "today": sorted(told.today),
        "alerts": {key: day.isoformat() for key, day in told.alerts.items()},
    }


def _told(row: Mapping[str, Any]) -> Told:
    return Told(
        None if row["on"] is None else date.fromisoformat(row["on"]),
        issued_of(row["issued"]),
        {str(tree): float(day) for tree, day in row["stops"].items()},
        frozenset(map(str, row["today"])),
        {str(key): date.fromisoformat(day) for key, day in row["alerts"].items()},
    )
