"""The stages of a flush, in order, and the marks and parts a look may carry.

What the grower sees at each stage is common practice, no source; the BBCH codes name the closest
stage of the open standard (Meier, ed., 2001), which does not code hardening.
"""

from __future__ import annotations

from phenology.model.names import Name


class Stage(Name):
    """A stage of a flush, in the order in which they come.

    Examples
    --------
    >>> Stage("hardened").rank > Stage.EXTENDED.rank, f"{Stage.BUDBREAK}"
    (True, 'budbreak')
    """

    DORMANT = "dormant", "00", "buds closed"
    SWELLING = "swelling", "01-03", "buds fat, scales parting"
    BUDBREAK = "budbreak", "07-10", "green tips, first leaves separating"
    EXTENDING = "extending", "11-38", "shoots lengthening, leaves soft and bright"
    EXTENDED = "extended", "19, 39", "shoots stopped or slowed, last full leaf near full size"
    HARDENED = (
        "hardened",
        "91",
        "leaves firm and springing back, mature colour, shoot base firm, buds in the axils",
    )
    TURNING = "turning", "92-95", "leaves colouring or falling"
    BARE = "bare", "97", "leaves down"

    bbch: str  # codes of the closest stages of the standard
    signs: str  # what is seen, in a grower's words
    rank: int  # place in the order, from 0 (dormant)

    def __new__(cls, name: str, bbch: str = "", signs: str = "") -> Stage:
        stage = str.__new__(cls, name)
        stage._value_, stage.bbch, stage.signs, stage.rank = name, bbch, signs, len(cls.__members__)
        return stage


class Mark(Name):
    """What became of growth that did not go on: checked by heat or drought, or lost."""

    CHECKED = "checked"
    LOST = "lost"


class Part(Name):
    """The part of a tree that a look or work was limited to."""

    TOP = "top"
    BOTTOM = "bottom"
    INSIDE = "inside"


_RANK: dict[str, int] = {stage: stage.rank for stage in Stage}


def stage_rank(stage: str) -> int:
    """Place of a stage in the order of a flush, from 0 (dormant).

    Raises
    ------
    UnknownNameError
        If there is no such stage.

    Examples
    --------
    >>> stage_rank("hardened") > stage_rank("extended")
    True
    """
    rank = _RANK.get(stage)
    return Stage(stage).rank if rank is None else rank
