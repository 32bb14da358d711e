"""The work growers do on leafy trees in pots: which of it wakes a flush, and what to mind while doing it.

All of it is common practice, no source. Full or partial defoliation, cutback and pinching wake a flush;
halving leaves, taking off the budless basal leaf and wiring do not.
"""

from __future__ import annotations

from phenology.model.names import Name

HALVING_JOINS = 14
"""Halving so soon after a cut belongs to that cut: it wakes nothing and ends nothing. Common practice, no
source. [days]"""

_STALKS = "leave the leaf stalks on"


class Operation(Name):
    """One kind of work, by the name under which it is stored and printed.

    Examples
    --------
    >>> Operation("cutback").wakes, Operation.HALVING.wakes
    (True, False)
    """

    CUTBACK = "cutback", "shoots cut back to one or two leaves"
    HALVING = "halving", "leaves cut in half, outer canopy"
    PARTIAL_DEFOLIATION = "partial-defoliation", "leaves taken off the outer canopy", _STALKS
    FULL_DEFOLIATION = "full-defoliation", "all leaves taken off", f"{_STALKS}; shade after"
    PINCHING = "pinching", "soft shoot tips taken off"
    REPOTTING = "repotting", "roots combed and cut, new soil", "keep from wind and hard sun"
    WIRING = "wiring", "wire put on", "look at it again in weeks, before it bites; mind your eyes"
    WIRE_REMOVAL = "wire-removal", "wire cut off", "cut it off, do not unwind it; mind your eyes"
    THINNING = "thinning", "crowded shoots taken out"
    BASAL_LEAF = "basal-leaf", "the budless lowest leaf taken off"
    PRUNING = "pruning", "wood pruned while leafless", "seal large cuts; mind your eyes"
    MOVING = "moving", "stood elsewhere"
    FEEDING = "feeding", "fed"
    PEST_TREATMENT = (
        "pest-treatment",
        "treated for a pest or disease",
        "follow the label; keep off in full sun",
    )
    OTHER = "other", "something else; say what in the note"

    meaning: str  # in a grower's words
    caution: str  # what to mind beyond looking first; often empty

    def __new__(cls, name: str, meaning: str = "", caution: str = "") -> Operation:
        operation = str.__new__(cls, name)
        operation._value_, operation.meaning, operation.caution = name, meaning, caution
        return operation

    @property
    def wakes(self) -> bool:
        """Whether it makes buds break that would have waited."""
        return self in _WAKING

    @property
    def partial(self) -> bool:
        """Whether it wakes only a part of the tree: the old flush goes on beside the new one."""
        return self is Operation.PARTIAL_DEFOLIATION

    @property
    def cuts(self) -> bool:
        """Whether blades are used on live wood or leaf."""
        return self in _CUTTING


_DEFOLIATION = (Operation.PARTIAL_DEFOLIATION, Operation.FULL_DEFOLIATION)
_WAKING = frozenset({Operation.CUTBACK, *_DEFOLIATION, Operation.PINCHING})
_CUTTING = frozenset(
    {Operation.CUTBACK, Operation.HALVING, *_DEFOLIATION, Operation.REPOTTING}
    | {Operation.THINNING, Operation.BASAL_LEAF, Operation.PRUNING}
)
