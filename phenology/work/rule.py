"""What a rule of work is: it speaks to some operations, and explains itself in one sentence when it fires."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from phenology.model.operations import Operation
from phenology.work.case import Case

TRADE = "common practice, no source"
MEMORY = "from memory, unverified"

DEFOLIATION = ("partial-defoliation", "full-defoliation")
SHAPING = ("cutback", "halving", *DEFOLIATION)
WAKING = tuple(operation for operation in Operation if operation.wakes)
CUTTING = (*SHAPING, "pinching", "thinning", "basal-leaf")

DAY_RULES = (
    "wilting",
    "wet leaves",
    "heat after defoliating",
    "heat after cutting",
    "frost ahead",
    "nobody home",
    "halved already",
)
"""Rules that stand against any cut for now, whichever it is."""

Fires = Callable[[Case], str | None]
"""The sentence of a rule that speaks to a case; None where it keeps quiet."""


class Finding(NamedTuple):
    """A rule that fired."""

    rule: str
    forbids: bool  # whether the work is not advised; else it is only to be minded
    sentence: str  # what is the matter, to the grower
    provenance: str  # where the rule comes from
    # what it says to whoever asks first: "no", "wait" (better wait) or "mind" (go on and mind this)
    answer: str = "mind"
    # from when the work is better, where the rule knows: "when the leaves are hard", "from 24 Jun"
    when: str = ""


@dataclass(frozen=True, eq=False, repr=False)
class Rule:
    """One rule of work."""

    name: str
    operations: tuple[str, ...]  # what it speaks to
    forbids: bool
    provenance: str
    fires: Fires  # takes a `Case`, gives the sentence or None
    # whether it only holds on the day itself, and says nothing of a window still to come
    on_the_day: bool = False
    answer: str = ""  # as `Finding.answer`; by default "no" for a rule that forbids, else "mind"
    when: str | Callable[[Case], str] = ""  # as `Finding.when`, or what gives it for a case

    def check(self, case: Case) -> Finding | None:
        """The finding, if the rule speaks to this work and fires."""
        if case.operation not in self.operations or (case.planned and self.on_the_day):
            return None
        sentence = self.fires(case)
        if sentence is None:
            return None
        answer = self.answer or ("no" if self.forbids else "mind")
        when = self.when if isinstance(self.when, str) else self.when(case)
        return Finding(self.name, self.forbids, sentence, self.provenance, answer, when)


def better_from(findings: Iterable[Finding]) -> str:
    """From when work is better that the weather or the like stands against for now; empty where nothing does.

    Examples
    --------
    >>> better_from([Finding("heat after cutting", False, "36 °C", TRADE, "wait", "from 24 Jun")])
    'from 24 Jun'
    """
    return next((f.when for f in findings if f.answer == "wait" and f.rule in DAY_RULES and f.when), "")
