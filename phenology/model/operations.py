"""The work growers do on leafy trees in pots: which of it wakes a flush, and what to mind while doing it.

All of it is common practice, no source. Full or partial defoliation, cutback and pinching wake a flush;
halving leaves, taking off the budless basal leaf and wiring do not.
"""

from __future__ import annotations

from dataclasses import dataclass

from phenology.model.errors import UnknownNameError


@dataclass(frozen=True)
class Operation:
    """One kind of work.

    Parameters
    ----------
    name : str
        As it is stored and printed.
    meaning : str
        In a grower's words.
    wakes : bool
        Whether it makes buds break that would have waited.
    partial : bool
        Whether it wakes only a part of the tree: the old flush goes on beside the new one.
    cuts : bool
        Whether blades are used on live wood or leaf.
    caution : str or None
        What to mind beyond looking first.
    """

    name: str
    meaning: str
    wakes: bool = False
    partial: bool = False
    cuts: bool = False
    caution: str | None = None


HALVING_JOINS = 14
"""Halving so soon after a cut belongs to that cut: it wakes nothing and ends nothing. Common practice, no
source. [days]"""

_LEAVES_ONLY = "leave the leaf stalks on"

OPERATIONS: dict[str, Operation] = {
    operation.name: operation
    for operation in (
        Operation("cutback", "shoots cut back to one or two leaves", wakes=True, cuts=True),
        Operation("halving", "leaves cut in half, outer canopy", cuts=True),
        Operation(
            "partial-defoliation",
            "leaves taken off the outer canopy",
            wakes=True,
            partial=True,
            cuts=True,
            caution=_LEAVES_ONLY,
        ),
        Operation(
            "full-defoliation",
            "all leaves taken off",
            wakes=True,
            cuts=True,
            caution=f"{_LEAVES_ONLY}; shade after",
        ),
        Operation("pinching", "soft shoot tips taken off", wakes=True),
        Operation(
            "repotting", "roots combed and cut, new soil", cuts=True, caution="keep from wind and hard sun"
        ),
        Operation("wiring", "wire put on", caution="look again in weeks, before it bites; mind your eyes"),
        Operation("wire-removal", "wire cut off", caution="cut it off, do not unwind it; mind your eyes"),
        Operation("thinning", "crowded shoots taken out", cuts=True),
        Operation("basal-leaf", "the budless lowest leaf taken off", cuts=True),
        Operation(
            "pruning", "wood pruned while leafless", cuts=True, caution="seal large cuts; mind your eyes"
        ),
        Operation("moving", "stood elsewhere"),
        Operation("feeding", "fed"),
        Operation(
            "pest-treatment",
            "treated for a pest or disease",
            caution="follow the label; keep off in full sun",
        ),
        Operation("other", "something else; say what in the note"),
    )
}


def operation(name: str) -> Operation:
    """The operation of that exact name; `phenology.language.words.find_operation` also takes everyday words.

    Raises
    ------
    UnknownNameError
        If there is none.

    Examples
    --------
    >>> operation("cutback").wakes, operation("halving").wakes
    (True, False)
    """
    try:
        return OPERATIONS[name]
    except KeyError:
        raise UnknownNameError(
            "operation", name, [n for n in OPERATIONS if n[:3] == name[:3].lower()]
        ) from None


def wakes(name: str) -> bool:
    """Whether this operation wakes a flush."""
    return operation(name).wakes
