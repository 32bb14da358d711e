"""The grower's records, as plain values: places, trees, flushes, looks and work.

Ids are text UUIDs made by whoever writes the record. Dates are the place's local days.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from datetime import date
from operator import attrgetter

from phenology.model.names import Name
from phenology.model.operations import Operation
from phenology.model.stages import Part, Stage


class GrowthAim(Name):
    """What a tree is grown towards."""

    BUILDING = "building"
    REFINING = "refining"
    RESTING = "resting"


Site = Hashable
"""Which weather a tree stood in over a season; see `Garden.site`."""


@dataclass(frozen=True)
class Place:
    """A spot where trees stand."""

    id: str
    name: str
    latitude: float
    longitude: float
    elevation: float | None = None
    timezone: str | None = None
    cover: str = "open"
    sun: str | None = None
    note: str | None = None


@dataclass(frozen=True)
class Tree:
    """One tree; its label may change, its id never does."""

    id: str
    label: str
    species: str
    pot: str | None = None
    last_repot: date | None = None
    vigour: str | None = None
    grown_for: str | None = None
    retired: date | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Stand:
    """A tree stands in a place from a date on (None: since before the records begin)."""

    id: str
    tree_id: str
    place_id: str
    from_date: date | None = None


@dataclass(frozen=True, slots=True)
class Aim:
    """What a tree is grown towards from a date on."""

    id: str
    tree_id: str
    aim: GrowthAim
    from_date: date | None = None

    def __post_init__(self) -> None:
        _spell(self, "aim", GrowthAim)


@dataclass(frozen=True, slots=True)
class Flush:
    """One flush of a tree in a season. Its number is derived by date, never stored."""

    id: str
    tree_id: str
    season: int
    started_by: str
    started_on: date | None = None
    work_id: str | None = None
    cause: str | None = None
    part: Part | None = None
    ended_on: date | None = None
    ended_why: str | None = None

    def __post_init__(self) -> None:
        _spell(self, "part", Part)


@dataclass(frozen=True, slots=True)
class Look:
    """What was seen of a flush. `seen`: the stage stood by that date; `happened`: it came about then.

    A vague date is kept as typed in `date_text`; `earliest` and `latest` bound it (equal for a plain date).
    """

    id: str
    tree_id: str
    flush_id: str
    stage: Stage
    date_text: str
    earliest: date
    latest: date
    kind: str = "seen"
    checked: bool = False
    lost: bool = False
    part: Part | None = None
    leaves: str | None = None
    who: str | None = None
    note: str | None = None

    def __post_init__(self) -> None:
        _spell(self, "stage", Stage)
        _spell(self, "part", Part)

    def at_flush(self, id: str) -> Look:
        """The same look, of a flush; `dataclasses.replace` takes twice as long, and imports ask often."""
        return Look(self.id, self.tree_id, id, *_behind_flush(self))


_behind_flush = attrgetter(*Look.__match_args__[3:])


@dataclass(frozen=True, slots=True)
class Work:
    """Work done on a tree. Work that wakes a flush is that flush's biofix."""

    id: str
    tree_id: str
    operation: Operation
    date_text: str
    earliest: date
    latest: date
    part: Part | None = None
    early: bool = False
    who: str | None = None
    note: str | None = None

    def __post_init__(self) -> None:
        _spell(self, "operation", Operation)
        _spell(self, "part", Part)

    @property
    def middle(self) -> date:
        """The day in the middle of a vague date."""
        return self.earliest + (self.latest - self.earliest) // 2


def _spell(record: object, field: str, names: type[Name]) -> None:
    """Turn a name read from a file into the one thing it stands for; an unknown one is refused."""
    name = getattr(record, field)
    if name is not None and type(name) is not names:
        object.__setattr__(record, field, names(name))
