"""Past forecasts made again, kept in `past_forecasts.json` so that they need not be made twice.

A cache and nothing more: it may be deleted, and an unreadable one is made again.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from data_sources.disk.whole_files import replace_text
from phenology.model.errors import FlushcastError
from phenology.model.track_record import PastForecast

FILE_NAME = "past_forecasts.json"
FIELDS = tuple(PastForecast.__dataclass_fields__)
MOST_KEPT = 3
"""So many sets are kept: of this season, and of seasons that were asked about since."""


def read_forecasts(folder: Path, key: str) -> list[PastForecast] | None:
    """What was kept under a key; None when nothing was, or it cannot be read."""
    try:
        return [PastForecast(**dict(zip(FIELDS, row, strict=True))) for row in _kept(folder)[key]]
    except (KeyError, TypeError, ValueError):
        return None


def keep_forecasts(folder: Path, key: str, past: Sequence[PastForecast]) -> None:
    """Keep them, if the folder can be written; nothing depends on it."""
    others = [(name, rows) for name, rows in _kept(folder).items() if name != key]
    rows = [[getattr(one, field) for field in FIELDS] for one in past]
    try:
        text = json.dumps({"sets": dict([*others[1 - MOST_KEPT :], (key, rows)])})
        replace_text(folder / FILE_NAME, text)
    except (OSError, FlushcastError):
        return


def _kept(folder: Path) -> dict[str, Any]:
    try:
        kept = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))["sets"]
    except (OSError, ValueError, KeyError, TypeError):
        return {}
    return kept if isinstance(kept, dict) else {}
