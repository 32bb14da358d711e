"""What becomes of one value offered to the weather store beside the one it has."""

from __future__ import annotations

from typing import Literal, NamedTuple

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

    Parameters
    ----------
    wait : bool
        It is a correction that must be confirmed first.
    prefer : bool
        The grower offers it on purpose.

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
