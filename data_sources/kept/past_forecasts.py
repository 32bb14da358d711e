"""Past forecasts made again, kept in `past_forecasts.json` so that they need not be made twice.

A cache and nothing more: it may be deleted, and an unreadable one is made again.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from data_sources.disk.whole_files import read_note, write_note
from phenology.model.track_record import PastForecast

FILE_NAME = "past_forecasts.json"
FIELDS = tuple(PastForecast.__dataclass_fields__)
MOST_KEPT = 3
"""So many sets are kept: of this season, and of seasons that were asked about since."""


def read_forecasts(folder: Path, key: str) -> list[PastForecast] | None:
    """What was kept under a key; None when nothing was, or it cannot be read."""
    found = read_note(
        folder / FILE_NAME,
        lambda kept: [PastForecast(**dict(zip(FIELDS, row, strict=True))) for row in kept["sets"][key]],
        None,
    )
    return found if found is not None and all(map(_is_whole, found)) else None


def _is_whole(past: PastForecast) -> bool:
    """Whether every value is of its kind: anybody may have written to the file."""
    kinds: dict[str, Any] = {"str": str, "int": int, "bool": bool, "float": (int, float)}
    return all(
        isinstance(value := getattr(past, field.name), kinds[str(field.type)])
        and (isinstance(value, str | bool) or math.isfinite(value))
        for field in fields(past)
    )


def keep_forecasts(folder: Path, key: str, past: Sequence[PastForecast]) -> None:
    """Keep them, if the folder can be written; nothing depends on it."""
    sets: dict[str, Any] = read_note(folder / FILE_NAME, lambda kept: dict(kept["sets"]), {})
    others = [(name, rows) for name, rows in sets.items() if name != key]
    rows = [[getattr(one, field) for field in FIELDS] for one in past]
    write_note(folder / FILE_NAME, {"sets": dict([*others[1 - MOST_KEPT :], (key, rows)])})
