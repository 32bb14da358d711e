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
    return read_note(folder / FILE_NAME, lambda kept: _forecasts(kept["sets"][key]), None)


def _forecasts(rows: Sequence[Sequence[Any]]) -> list[PastForecast]:
    """The rows as forecasts; `ValueError` where one is not of its kind: anybody may write to the file."""
    kinds: dict[str, set[type]] = {"str": {str}, "int": {int}, "bool": {bool}, "float": {int, float}}
    for field, column in zip(fields(PastForecast), zip(*rows, strict=True), strict=bool(rows)):
        kind = kinds[str(field.type)]
        if not kind.issuperset(map(type, column)) or (float in kind and not all(map(math.isfinite, column))):
            raise ValueError(f"{field.name} is damaged")
    return [PastForecast(*row) for row in rows]


def keep_forecasts(folder: Path, key: str, past: Sequence[PastForecast]) -> None:
    """Keep them, if the folder can be written; nothing depends on it."""
    sets: dict[str, Any] = read_note(folder / FILE_NAME, lambda kept: dict(kept["sets"]), {})
    others = [(name, rows) for name, rows in sets.items() if name != key]
    rows = [[getattr(one, field) for field in FIELDS] for one in past]
    write_note(folder / FILE_NAME, {"sets": dict([*others[1 - MOST_KEPT :], (key, rows)])})
