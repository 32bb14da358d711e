"""Notes kept in files beside the journal, so that nothing need be reckoned or reported twice.

Which cautions were said today, past forecasts made again, what the last few forecasts stated, and the last
restore. All of them may be deleted, and one that cannot be read is begun anew: cautions are said once more,
forecasts reckoned again, and `undo` takes back the last change of the journal that was put in place.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_type_hints

from data_sources.disk.whole_files import read_note, write_note
from phenology.advice.forecast_change import Issued, Key
from phenology.model.track_record import PastForecast

if TYPE_CHECKING:
    from data_sources.journal.store import Journal

ISSUED = "issued_forecasts.json"
APART_DAYS = 3
"""Forecasts of days nearer to each other than this share a place (ours)."""
MOST_KEPT = 5


def read_issued(folder: Path) -> dict[date, dict[Key, Issued]]:
    """What was told on which day, oldest first; empty where nothing can be read."""
    return read_note(
        folder / ISSUED,
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
    same = read_note(folder / ISSUED, lambda kept: bool(kept == rows), False)
    if not same:  # as it is where the forecast is asked for twice
        write_note(folder / ISSUED, rows)


PAST = "past_forecasts.json"
SETS_KEPT = 3
"""So many sets are kept: of this season, and of seasons that were asked about since."""


def read_forecasts(folder: Path, key: str) -> list[PastForecast] | None:
    """What was kept under a key; None when nothing was, or it cannot be read."""
    return read_note(folder / PAST, lambda kept: _forecasts(kept["sets"][key]), None)


def _forecasts(rows: Sequence[Sequence[Any]]) -> list[PastForecast]:
    """The rows as forecasts; `ValueError` where one is not of its kind: anybody may write to the file."""
    kinds = get_type_hints(PastForecast).items()
    for (name, kind), column in zip(kinds, zip(*rows, strict=True), strict=bool(rows)):
        allowed = {int, float} if kind is float else {kind}
        fits = allowed.issuperset(map(type, column))
        if not fits or (kind is float and not all(map(math.isfinite, column))):
            raise ValueError(f"{name} is damaged")
    return [PastForecast(*row) for row in rows]


def keep_forecasts(folder: Path, key: str, past: Sequence[PastForecast]) -> None:
    """Keep them, if the folder can be written; nothing depends on it."""
    sets: dict[str, Any] = read_note(folder / PAST, lambda kept: dict(kept["sets"]), {})
    others = [(name, rows) for name, rows in sets.items() if name != key]
    write_note(folder / PAST, {"sets": dict([*others[1 - SETS_KEPT :], (key, past)])})


CAUTIONS = "cautions_said.json"


def not_said_yet(folder: Path, day: date, sentences: Iterable[str]) -> list[str]:
    """Those of some sentences that were not said on a day; from now on they count as said.

    `day` is that of the clock, also where a garden stands still.
    """
    today, path = day.isoformat(), folder / CAUTIONS
    none: list[str] = []
    said = read_note(path, lambda kept: [str(one) for one in kept["said"] if kept["day"] == today], none)
    new = [sentence for sentence in dict.fromkeys(sentences) if sentence not in said]
    if new:
        write_note(path, {"day": today, "said": [*said, *new]})
    return new


RESTORE = "last_restore.json"


def remember_restore(folder: Path, journal: Journal, aside: Path) -> None:
    """Remember where the journal of before lies, and the newest change of the one now in its place."""
    write_note(folder / RESTORE, {"before": aside.name, "newest": _newest(journal)})


def journal_before_restore(folder: Path, journal: Journal) -> Path | None:
    """The journal that the last restore put aside; None where something was written since, or it is gone."""
    from data_sources.sqlite.backups import FOLDER

    before = read_note(
        folder / RESTORE,
        lambda kept: Path(str(kept["before"])).name if kept["newest"] == _newest(journal) else "",
        "",
    )
    aside = folder / FOLDER / before
    return aside if before and aside.is_file() else None


def _newest(journal: Journal) -> str | None:
    return next((change.batch for change in journal.history(limit=1)), None)
