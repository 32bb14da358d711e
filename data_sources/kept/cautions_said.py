"""Which cautions were said today, kept in `cautions_said.json`: each is said once a day.

It may be deleted; where it cannot be written, everything is said every time.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from pathlib import Path

from data_sources.disk.whole_files import read_note, write_note

FILE_NAME = "cautions_said.json"


def not_said_yet(folder: Path, day: date, sentences: Iterable[str]) -> list[str]:
    """Those of some sentences that were not said on a day; from now on they count as said.

    `day` is that of the clock, also where a garden stands still.
    """
    today, path = day.isoformat(), folder / FILE_NAME
    none: list[str] = []
    said = read_note(path, lambda kept: [str(one) for one in kept["said"] if kept["day"] == today], none)
    new = [sentence for sentence in dict.fromkeys(sentences) if sentence not in said]
    if new:
        write_note(path, {"day": today, "said": [*said, *new]})
    return new
