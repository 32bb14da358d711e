"""Past forecasts of a garden, made again or taken from where they are kept, and its track record."""

from __future__ import annotations

import marshal
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import date
from operator import attrgetter
from pathlib import Path
from typing import Any
from zlib import adler32, crc32

from data_sources.kept_notes import keep_forecasts, read_forecasts
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS
from phenology.model.track_record import PastForecast, TrackRecord
from reports.garden.open_garden import OpenGarden
from reports.views.progress import Step, progress

VERSION = 8  # raised when forecasts would come out differently on the same records
UNREAD = {"label", "date_text", "who", "note"}
"""What forecasts do not read: who corrects it need not wait for the past to be forecast again."""


def read_with_skill(opened: OpenGarden, as_of: str | None = None) -> Garden:
    """The garden on a day, ready to be forecast; a slow first look back is shown."""
    garden = opened.snapshot(as_of)
    with progress("past forecast") as step:
        return with_skill(garden, opened.folder, progress=step)


def with_skill(garden: Garden, folder: Path, *, keep: bool = True, progress: Step | None = None) -> Garden:
    """The same garden, its species' track record known."""
    return replace(garden, skills=TrackRecord.of(garden_past(folder, garden, keep=keep, progress=progress)))


def garden_past(
    folder: Path,
    garden: Garden,
    *,
    keep: bool = True,
    say: Callable[[str], None] = lambda _: None,
    progress: Step | None = None,
) -> list[PastForecast]:
    """Every past forecast of every species, as `past_forecasts` makes them, or as kept in the folder.

    Only finished seasons count, so what is kept holds until a new season or older records come in. `say` is
    told when the reckoning begins, which takes some seconds; `progress` hears (made, to make) meanwhile.
    """
    finished = garden.finished_seasons
    if not finished.looks and not finished.works:
        return []
    key = _key(finished)
    kept = read_forecasts(folder, key)
    if kept is not None:
        return kept
    from phenology.judging.past_forecasts import past_forecasts

    say("Looking back on past seasons, which takes some seconds ...")
    made = past_forecasts(garden, progress=progress)
    if keep:
        keep_forecasts(folder, key, made)
    return made


def _content(records: Sequence[object]) -> Iterator[bytes]:
    """The cells of records of a kind, column by column: much faster than writing the records out."""
    fields = records[0].__dataclass_fields__ if records else ()  # type: ignore[attr-defined]
    names = [name for name in fields if name not in UNREAD]
    for name in names:
        # version 2 writes equal values alike, whether or not they are one object
        yield marshal.dumps(_plain([*map(attrgetter(name), records)]), 2)


def _plain(column: list[Any]) -> list[Any]:
    """The same with days as numbers and names as text."""
    kinds = {*map(type, column)} - {type(None)}
    if date in kinds:
        return [None if day is None else day.toordinal() for day in column]
    if kinds <= {str, int, float, bool}:
        return column
    return [None if name is None else str(name) for name in column]


def _key(finished: Garden) -> str:
    """What the forecasts depend on, as a short text: two checksums of it (`hashlib` takes long to load)."""
    crc, adler = 0, 1
    for part in _rests_on(finished):
        crc, adler = crc32(part, crc), adler32(part, adler)
    return f"{VERSION}|{crc:08x}{adler:08x}"


def _rests_on(finished: Garden) -> Iterator[bytes]:
    """Records and weather of finished seasons, and the clocks."""
    stood = [
        tree if tree.retired is None or tree.retired <= finished.as_of else replace(tree, retired=None)
        for tree in finished.trees
    ]
    rows = (stood, finished.stands, finished.flushes, finished.looks, finished.works, finished.places)
    learned = (finished.shared,) if finished.shared else ()
    for part in (finished.as_of, finished.calendar, CLOCKS, *learned):
        yield repr(part).encode()
    for records in rows:
        yield from _content(records)
    for species in sorted({tree.species for tree in finished.trees}):
        yield repr(finished.species.get(species)).encode()
    for place, series in sorted(finished.weather.items()):
        yield f"{place} {series.first_day}".encode()
        for values in (series.tmin, series.tmax):
            yield values.tobytes()
