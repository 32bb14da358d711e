"""What the last forecasts told, kept in `issued_forecasts.json`: a later one can say how far off they were.

A memory of a few forecasts and nothing more: it may be deleted, and an unreadable one is begun anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from data_sources.disk.whole_files import read_note, write_note
from phenology.advice.forecast_change import Issued, Key

FILE_NAME = "issued_forecasts.json"
APART_DAYS = 3
"""Forecasts of days nearer to each other than this share a place (ours)."""
MOST_KEPT = 5


def read_issued(folder: Path) -> dict[date, dict[Key, Issued]]:
    """What was told on which day, oldest first; empty where nothing can be read."""
    return read_note(
        folder / FILE_NAME,
        lambda kept: {date.fromisoformat(day): issued_of(rows) for day, rows in sorted(kept.items())},
        {},
    )


def rows_of(issued: Mapping[Key, Issued]) -> list[list[str | int | float | None]]:
    """What was told as rows of a file."""
    return [
        [*key, *(None if v is None else round(v, 2) for v in (one.low, one.middle, one.high))]
        for key, one in issued.items()
    ]


def issued_of(rows: Iterable[Any]) -> dict[Key, Issued]:
    """The same back; `ValueError` or `TypeError` where the rows are not such."""
    return {(tree, season, flush, stage): Issued(*days) for tree, season, flush, stage, *days in rows}


def keep_issued(folder: Path, day: date, issued: Mapping[Key, Issued]) -> None:
    """Keep what is told today, if the folder can be written; nothing depends on it.

    Of days near to each other the first stays, and the newest besides: what was told a week ago has to
    outlast a forecast every morning. Days after `day` are forgotten.
    """
    before = {d: rows for d, rows in read_issued(folder).items() if d < day}
    spaced: list[date] = []
    for known in before:
        if not spaced or (known - spaced[-1]).days >= APART_DAYS:
            spaced.append(known)
    kept = {d.isoformat(): before[d] for d in spaced[-(MOST_KEPT - 1) :]}
    kept[day.isoformat()] = dict(issued)
    rows = {d: rows_of(stages) for d, stages in kept.items()}
    if not read_note(
        folder / FILE_NAME, lambda kept: bool(kept == rows), False
    ):  # asked twice, it says the same
        write_note(folder / FILE_NAME, rows)
