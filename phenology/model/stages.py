"""The stages of a flush, in order, and the marks and parts a look may carry.

What the grower sees at each stage is common practice, no source; the BBCH codes name the closest
stage of the open standard (Meier, ed., 2001), which does not code hardening.
"""

from __future__ import annotations

from phenology.model.errors import UnknownNameError

STAGES: tuple[str, ...] = (
    "dormant",
    "swelling",
    "budbreak",
    "extending",
    "extended",
    "hardened",
    "turning",
    "bare",
)

MARKS: tuple[str, ...] = ("checked", "lost")
PARTS: tuple[str, ...] = ("top", "bottom", "inside")

BBCH: dict[str, str] = {
    "dormant": "00",
    "swelling": "01-03",
    "budbreak": "07-10",
    "extending": "11-38",
    "extended": "19, 39",
    "hardened": "91",
    "turning": "92-95",
    "bare": "97",
}

WHAT_IS_SEEN: dict[str, str] = {
    "dormant": "buds closed",
    "swelling": "buds fat, scales parting",
    "budbreak": "green tips, first leaves separating",
    "extending": "shoots lengthening, leaves soft and bright",
    "extended": "shoots stopped or slowed, last full leaf near full size",
    "hardened": "leaves firm and springing back, mature colour, shoot base firm, buds in the axils",
    "turning": "leaves colouring or falling",
    "bare": "leaves down",
}

_RANK = {stage: rank for rank, stage in enumerate(STAGES)}


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
    try:
        return _RANK[stage]
    except KeyError:
        raise UnknownNameError("stage", stage, [s for s in STAGES if s[:2] == stage[:2].lower()]) from None
