"""What goes into the weather store and what it tells, as plain values."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

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


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class SuspiciousDay:
    """A marked day, or (`held`) a value offered in place of a good one: shown, and unused until accepted."""

    day: date
    source: str
    tmin: float
    tmax: float
    reason: str
    accepted: bool
    held: bool = False


@dataclass(frozen=True)
class DayValue:
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


@dataclass(frozen=True)
class OriginUse:
    """How much of the store came from one origin as one source, and when it was last asked."""

    origin: Origin
    source: str
    days: int
    first_day: date
    last_day: date
    fetched_at: datetime


@dataclass(frozen=True)
class TakenBack:
    """What an undone `add` had brought: how many days left again, how many older values came back."""

    origin: Origin
    fetched_at: datetime
    removed: int
    restored: int


@dataclass(frozen=True)
class PastForecasts:
    """Forecast values with the day they were issued, for measuring skill; all arrays have one length.

    `issued` and `day` are ordinals; the lead is ``day - issued``. `tmin`, `tmax` in °C, NaN where unknown.
    """

    issued: NDArray[np.int64]
    day: NDArray[np.int64]
    tmin: NDArray[np.float64]
    tmax: NDArray[np.float64]
    provider: NDArray[np.str_]

    @property
    def lead(self) -> NDArray[np.int64]:
        """Days from issue to the day forecast."""
        return self.day - self.issued
