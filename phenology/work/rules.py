"""Rules that forbid or warn before work: each explains itself in one sentence.

A forbidden piece of work can still be written down; its consequences follow. Beside every rule stands where
it comes from.
"""

from __future__ import annotations

from functools import cache

from phenology.work import flush_rules as flush
from phenology.work import tree_rules as tree
from phenology.work.case import Case
from phenology.work.rule import CUTTING, DEFOLIATION, MEMORY, SHAPING, TRADE, WAKING, Finding, Rule
from phenology.work.season_of_work import in_words

__all__ = [
    "CUTTING",
    "DEFOLIATION",
    "MEMORY",
    "RULES",
    "SHAPING",
    "TRADE",
    "WAKING",
    "Finding",
    "Rule",
    "check_work",
]

HEAT_AFTER_DEFOLIATING, HEAT_AFTER_CUTTING = 7, 5  # days

_HARD = "when the leaves are hard"
_FULL, _PARTIAL = ("full-defoliation",), ("partial-defoliation",)
_CUTS = ("cutback", "halving", "pinching")
_SHAPED = (*SHAPING, "pinching")


def check_work(case: Case) -> list[Finding]:
    """Every rule that fires for a piece of work, those that forbid first.

    Parameters
    ----------
    case : Case
        The work, with what the garden knows.
    """
    found = [finding for rule in _speaking(case.operation) if (finding := rule.check(case)) is not None]
    return sorted(found, key=lambda f: not f.forbids)


@cache
def _speaking(operation: str) -> tuple[Rule, ...]:
    return tuple(rule for rule in RULES if operation in rule.operations)


RULES: tuple[Rule, ...] = (
    Rule("aim", _SHAPED, True, TRADE, tree.aim),
    Rule("inner shoots", _SHAPED, True, TRADE, tree.inside),
    Rule("never defoliated", DEFOLIATION, True, TRADE, tree.never_defoliated),
    Rule("broadleaf evergreen", DEFOLIATION, True, TRADE, tree.broadleaf_evergreen),
    Rule("tropical fig", DEFOLIATION, True, f"{TRADE}; warm nights: {MEMORY}", tree.tropical_fig),
    Rule("full defoliation stood badly", _FULL, True, TRADE, tree.full_stood_badly),
    Rule("not halved", ("halving",), True, TRADE, tree.not_halved),
    Rule("not pinched", ("pinching",), True, TRADE, tree.not_pinched),
    Rule("weak tree", (*_SHAPED, "thinning", "pruning", "wiring"), True, TRADE, tree.weak),
    Rule("roots rest", ("repotting",), False, TRADE, tree.roots_rest, answer="wait",
         when="once it grows strongly"),
    Rule("weak zone", _SHAPED, True, TRADE, tree.weak_low),
    Rule("strong trees only", DEFOLIATION, True, TRADE, tree.strength),
    Rule("repotted this season", (*DEFOLIATION, "pinching"), True, TRADE, tree.repotted),
    Rule("second defoliation", DEFOLIATION, True, TRADE, tree.second_defoliation),
    Rule("bared lately", DEFOLIATION, True, TRADE, tree.bared_lately),
    Rule("full defoliation again", _FULL, True, TRADE, tree.full_again),
    Rule("flower buds set", ("cutback", "pinching"), True, TRADE, tree.buds_set, when=tree.after_bloom),
    Rule("wilting", (*CUTTING, "repotting"), True, TRADE, tree.wilting, True, "wait", "once it stands again"),
    Rule("wet leaves", (*CUTTING, "pruning"), True, MEMORY, tree.wet_leaves, True, "wait", "in a dry spell"),
    Rule("heat after defoliating", DEFOLIATION, True, TRADE, flush.heat(HEAT_AFTER_DEFOLIATING),
         answer="wait", when=flush.after_heat(HEAT_AFTER_DEFOLIATING)),
    Rule("heat after cutting", _CUTS, False, TRADE, flush.heat(HEAT_AFTER_CUTTING),
         answer="wait", when=flush.after_heat(HEAT_AFTER_CUTTING)),
    Rule("frost ahead", (*WAKING, "repotting"), False, TRADE, flush.frost_ahead,
         answer="wait", when="once frost is over"),
    Rule("nobody home", DEFOLIATION, True, TRADE, flush.away, answer="wait", when=flush.back_home),
    Rule("nobody home to water", ("cutback", "halving", "repotting"), False, TRADE, flush.away),
    Rule("too late", WAKING, True, f"{TRADE}; calendar limits: {MEMORY}", flush.too_late, when=flush.at_rest),
    Rule("late", WAKING, True, f"{TRADE}; calendar limits: {MEMORY}", flush.late,
         answer="wait", when=flush.at_rest),
    Rule("perhaps late", WAKING, False, TRADE, flush.perhaps_late),
    Rule("getting late", WAKING, False, TRADE, flush.getting_late, True),
    Rule("rests until spring", ("cutback", "halving", *DEFOLIATION), True, TRADE, flush.rests,
         when=flush.at_rest),
    Rule("checked growth", _SHAPED, True, TRADE, flush.checked,
         answer="wait", when="once it moves and hardens"),
    Rule("left on", ("cutback", "halving"), False, TRADE, flush.left_on, answer="wait", when=flush.at_rest),
    Rule("strength unsaid", _PARTIAL, False, TRADE, tree.strength_unsaid, True,
         "wait", "once you know it to be strong"),
    Rule("not hard yet", SHAPING, False, TRADE, flush.not_hard, True, "wait", _HARD),
    Rule("not growing strongly", (*_CUTS, "feeding"), False, TRADE, tree.not_growing, answer="wait",
         when="once shoots lengthen again"),
    Rule("evergreen window", ("cutback", "halving"), False, TRADE, flush.evergreen_window, True,
         "wait", _HARD),
    Rule("shaped at bloom's end", ("cutback", "pinching"), False, TRADE, tree.before_bloom, True,
         "wait", tree.after_bloom),
    Rule("grown for flower", ("cutback", *DEFOLIATION), False, TRADE, tree.flower),
    Rule("grown for fruit", ("cutback", *DEFOLIATION), False, TRADE, tree.fruit),
    Rule("halved before cut", ("cutback",), False, TRADE, flush.halved_first),
    Rule("halved already", ("halving",), False, TRADE, flush.halved_already, True, "wait",
         "when the next flush is hard"),
    Rule("pinching is for soft tips", ("pinching",), False, TRADE, flush.soft_tips, True, "wait"),
    Rule("basal leaf", ("basal-leaf",), False, TRADE, flush.basal_leaf),
    Rule("repotting season", ("repotting",), False, TRADE, tree.roots_season, True,
         "wait", lambda case: in_words(case.species.repot)),
    Rule("pruning season", ("pruning", "thinning"), False, TRADE, tree.wood_season, True,
         "wait", lambda case: in_words(case.species.prune)),
    Rule("low branches", ("cutback", *DEFOLIATION), False, TRADE, tree.low_branches),
)  # fmt: skip
