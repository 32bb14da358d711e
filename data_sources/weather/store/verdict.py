"""What becomes of one value offered to the weather store beside the one it has."""

from __future__ import annotations

from typing import Literal, NamedTuple

Verdict = Literal["added", "replaced", "unchanged", "marked", "kept"]


class Stored(NamedTuple):
    """A day as one source has it in the store."""

    tmin: float | None
    tmax: float | None
    suspect: str | None
    accepted: int
    batch: int
    provider: str


def verdict(
    old: Stored | None,
    tmin: float | None,
    tmax: float | None,
    suspect: str | None,
    provider: str,
    prefer: bool,
) -> Verdict:
    """What becomes of one offered value beside the stored one of the same source and day.

    Examples
    --------
    >>> old = Stored(1.0, 9.0, None, 0, 1, "meteostat")
    >>> verdict(old, 1.2, 9.0, None, "meteostat", False)  # the provider corrects itself
    'replaced'
    >>> verdict(old, 1.2, None, None, "meteostat", False)  # less than we had
    'kept'
    >>> verdict(old, 1.2, 9.0, None, "ncei", False)
    'kept'
    """
    if old is None:
        return "added"
    if (old.tmin, old.tmax) == (tmin, tmax):
        return "marked" if suspect and not old.suspect else "unchanged"
    doubted = old.suspect is not None and not old.accepted
    if suspect and not doubted:
        return "kept"
    if doubted and not suspect:
        return "replaced"
    more = (tmin is not None) + (tmax is not None) - (old.tmin is not None) - (old.tmax is not None)
    if more:
        return "replaced" if more > 0 else "kept"
    return "replaced" if prefer or provider == old.provider else "kept"
