"""Past forecasts made again, kept in `past_forecasts.json` so that they need not be reckoned twice.

A cache and nothing more: it may be deleted, and an unreadable one is made again.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

from data_sources.garden_settings import replace_text
from phenology.judging.past_forecasts import PastForecast
from phenology.model.errors import FlushcastError

FILE_NAME = "past_forecasts.json"
FIELDS = tuple(PastForecast.__dataclass_fields__)


def read_forecasts(folder: Path, key: str) -> list[PastForecast] | None:
    """What was kept under a key; None when nothing was, or under another one."""
    try:
        kept = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
        if kept["key"] != key:
            return None
        return [PastForecast(**dict(zip(FIELDS, row, strict=True))) for row in kept["forecasts"]]
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None


def keep_forecasts(folder: Path, key: str, past: Sequence[PastForecast]) -> None:
    """Keep them, if the folder can be written; nothing depends on it."""
    rows = [[getattr(one, field) for field in FIELDS] for one in past]
    try:
        replace_text(folder / FILE_NAME, json.dumps({"key": key, "forecasts": rows}))
    except (OSError, FlushcastError):
        return
