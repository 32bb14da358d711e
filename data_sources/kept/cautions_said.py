"""Which cautions were said today, kept in `cautions_said.json`: each is said once a day.

It may be deleted; where it cannot be written, everything is said every time.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from contextlib import suppress
from datetime import date
from pathlib import Path

from data_sources.disk.whole_files import replace_text
from phenology.model.errors import FlushcastError

FILE_NAME = "cautions_said.json"


def not_said_yet(folder: Path, day: date, sentences: Iterable[str]) -> list[str]:
    """Those of some sentences that were not said on a day; from now on they count as said.

    Parameters
    ----------
    folder : Path
        The garden's.
    day : date
        Of the clock, also where a garden stands still.
    """
    said = _said(folder, day)
    new = [sentence for sentence in dict.fromkeys(sentences) if sentence not in said]
    if new:
        text = json.dumps({"day": day.isoformat(), "said": [*said, *new]}, indent=1)
        with suppress(OSError, FlushcastError):
            replace_text(folder / FILE_NAME, text)
    return new


def _said(folder: Path, day: date) -> list[str]:
    try:
        kept = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
        return [str(one) for one in kept["said"]] if kept["day"] == day.isoformat() else []
    except (OSError, ValueError, KeyError, TypeError):
        return []
