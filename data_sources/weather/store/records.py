"""What goes into the weather store and what it tells, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

EARLIEST, LATEST = date(1700, 1, 1), date(2199, 12, 31)  # of any day that is believed; ours


@dataclass(frozen=True)
class Origin:
    """Where values came from."""

    provider: str  # the service, or ``"file"``
    detail: str = ""  # station ids, model name or file name
    attribution: str = ""  # the line a report must show; empty when none is asked
    # what it measures when that is not air at 2 m in the open ("pot surface", "under glass")
    measures: str = ""

    def __str__(self) -> str:
        return " ".join(filter(None, (self.provider, self.detail)))


@dataclass(frozen=True, eq=False, repr=False)
class AddReport:
    """What became of the days offered to the store; a day is counted once for each of its sources.

    `new_days` and `replaced_days` hold (rank of the source, ordinal).
    """

    offered: int = 0
    added: int = 0
    replaced: int = 0
    unchanged: int = 0
    kept: int = 0
    suspicious: int = 0
    held: int = 0
    new_days: frozenset[tuple[int, int]] = frozenset()
    replaced_days: frozenset[tuple[int, int]] = frozenset()

    @property
    def changed(self) -> bool:
        """Whether the store now reads differently."""
        return bool(self.added or self.replaced)


class SuspiciousDay(NamedTuple):
    """A marked day, or (`held`) a value offered in place of a good one: shown, and unused until accepted."""

    day: date
    source: str
    tmin: float
    tmax: float
    reason: str
    accepted: bool
    held: bool = False


class DayValue(NamedTuple):
    """One value of a day, and what it is to the store."""

    day: date
    source: str
    tmin: float  # NaN where unknown [°C]
    tmax: float
    origin: Origin
    fetched_at: datetime
    stations: int  # how many it is from
    # "used" (read), "beside" (a more trusted one is read), "doubtful" (marked and unused), "held" (waits to
    # take the place of a good one) or "replaced" (gave way)
    state: str
    reason: str  # why it is doubted


class OriginUse(NamedTuple):
    """How much of the store came from one origin as one source, and when it was last asked."""

    origin: Origin
    source: str
    days: int
    first_day: date
    last_day: date
    fetched_at: datetime


class TakenBack(NamedTuple):
    """What an undone `add` had brought: how many days left again, how many older values came back."""

    origin: Origin
    fetched_at: datetime
    removed: int
    restored: int


class PastForecasts(NamedTuple):
    """Forecast values with the day they were issued, for measuring skill; all arrays have one length.

    `issued` and `day` are ordinals; `tmin`, `tmax` in °C, NaN where unknown.
    """

    issued: NDArray[np.int64]
    day: NDArray[np.int64]
    tmin: NDArray[np.float64]
    tmax: NDArray[np.float64]
    provider: NDArray[np.str_]


Verdict = Literal["added", "replaced", "unchanged", "marked", "kept", "held"]


class Value(NamedTuple):
    """A day of one source: as the store has it, or as it is offered."""

    tmin: float | None
    tmax: float | None
    suspect: str | None
    stations: int
    provider: str
    accepted: int = 0
    batch: int = 0


def verdict(old: Value | None, new: Value, *, wait: bool = False, prefer: bool = False) -> Verdict:
    """What becomes of a value beside the stored one of the same source and day.

    `wait`: it is a correction that must be confirmed first. `prefer`: the grower offers it on purpose.

    Examples
    --------
    >>> old = Value(1.0, 9.0, None, 3, "meteostat")
    >>> verdict(old, Value(1.2, 9.0, None, 3, "meteostat"))  # the provider corrects itself
    'replaced'
    >>> verdict(old, Value(1.2, None, None, 3, "meteostat"))  # less than we had
    'kept'
    >>> verdict(old, Value(1.2, 9.0, None, 2, "meteostat"))  # one station is absent
    'kept'
    >>> verdict(old, Value(1.2, 9.0, None, 3, "ncei"))
    'kept'
    >>> verdict(old, Value(1.2, 39.0, "39 °C", 3, "meteostat"))
    'held'
    """
    if old is None:
        return "held" if wait and not new.suspect else "added"
    if (old.tmin, old.tmax) == (new.tmin, new.tmax):
        return "marked" if new.suspect and not old.suspect else "unchanged"
    own = prefer or new.provider == old.provider
    doubted = old.suspect is not None and not old.accepted
    if doubted and not new.suspect:
        return "replaced"
    if new.provider == old.provider and new.stations < old.stations and not prefer:
        return "kept"
    more = (new.tmin is not None) + (new.tmax is not None) - (old.tmin is not None) - (old.tmax is not None)
    if more < 0 or (not more and not own):
        return "kept"
    if not doubted and (wait or new.suspect):
        return "held" if own else "kept"
    return "replaced"
