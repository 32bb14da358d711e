"""Rules that forbid or warn before work: small objects that explain themselves in one sentence.

A forbidden piece of work can still be written down; its consequences follow. Beside every rule stands where
it comes from.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from phenology.language.date_style import short_date
from phenology.language.degrees import degrees
from phenology.model.operations import OPERATIONS
from phenology.work.case import WET, WILTING, Case
from phenology.work.last_safe import in_words

TRADE = "common practice, no source"
MEMORY = "from memory, unverified"

DEFOLIATION = ("partial-defoliation", "full-defoliation")
SHAPING = ("cutback", "halving", *DEFOLIATION)
WAKING = tuple(name for name, operation in OPERATIONS.items() if operation.wakes)
CUTTING = (*SHAPING, "pinching", "thinning", "basal-leaf")

HEAT_AFTER_DEFOLIATING, HEAT_AFTER_CUTTING = 7, 5  # days
FROST_AHEAD_DAYS = 10
AWAY_DAYS = 10
LOOK_IS_OLD_DAYS = 7  # a look at soft leaves older than this no longer says that they are soft (ours)


@dataclass(frozen=True)
class Finding:
    """A rule that fired.

    Attributes
    ----------
    rule : str
    forbids : bool
        Else it warns.
    sentence : str
        What is the matter, to the grower.
    provenance : str
        Where the rule comes from.
    """

    rule: str
    forbids: bool
    sentence: str
    provenance: str


@dataclass(frozen=True)
class Rule:
    """One rule of work.

    Attributes
    ----------
    name : str
    operations : tuple of str
        What it speaks to.
    forbids : bool
    provenance : str
    fires : callable
        Takes a `Case`, gives the sentence or None.
    on_the_day : bool
        Whether it only holds on the day itself, and says nothing of a window still to come.
    """

    name: str
    operations: tuple[str, ...]
    forbids: bool
    provenance: str
    fires: Callable[[Case], str | None]
    on_the_day: bool = False

    def check(self, case: Case) -> Finding | None:
        """The finding, if the rule speaks to this work and fires."""
        if case.operation not in self.operations or (case.planned and self.on_the_day):
            return None
        sentence = self.fires(case)
        return None if sentence is None else Finding(self.name, self.forbids, sentence, self.provenance)


def check_work(case: Case) -> list[Finding]:
    """Every rule that fires for a piece of work, those that forbid first.

    Parameters
    ----------
    case : Case
        The work, with what the garden knows.
    """
    found = [finding for rule in RULES if (finding := rule.check(case)) is not None]
    return sorted(found, key=lambda f: not f.forbids)


def _called(operation: str) -> str:
    return operation.replace("-", " ")


# ----------------------------------------------------------------------------------------------- the tree


def _aim(case: Case) -> str | None:
    aim = case.garden.aim_of(case.tree)
    if aim == "refining":
        return None
    return f"{case.label} is {aim}: only trees being refined are cut back, halved or defoliated"


def _never(case: Case) -> str | None:
    s = case.species
    if s.defoliation != "never" or is_evergreen_fig(case) or s.habit == "evergreen":
        return None
    return f"{s.name} is never defoliated; in spring cut back and halve the outer leaves instead"


def _evergreen(case: Case) -> str | None:
    s = case.species
    if s.habit != "evergreen" or s.defoliation != "never" or is_evergreen_fig(case):
        return None
    return f"{s.name} is a broadleaf evergreen and lives on its old leaves: it is not defoliated"


def is_evergreen_fig(case: Case) -> bool:
    """Whether the tree is one of the tropical figs."""
    return case.species.latin.startswith("Ficus ") and case.species.habit == "evergreen"


def _fig(case: Case) -> str | None:
    if not is_evergreen_fig(case):
        return None
    least, nights = case.garden.limits.warm_night_c, case.nights()
    if not case.strong:
        return f"a tropical fig is defoliated only when strong, and {case.label} is not marked so"
    if nights is not None and nights < least:
        were = f"they were {degrees(round(nights))}"
        return f"a tropical fig is defoliated only with nights above {degrees(least)}; {were}"
    return None


def _evergreen_window(case: Case) -> str | None:
    if case.species.habit != "evergreen" or case.shown("hardened") or case.species.woken_by == "bloom":
        return None
    return "a broadleaf evergreen is cut once its spring flush is hard, and no look says so yet"


def _weak(case: Case) -> str | None:
    if not case.weak:
        return None
    return f"{case.label} is {case.tree.vigour}: let it grow and feed it first"


def _repotted(case: Case) -> str | None:
    if case.repotted_on is None:
        return None
    return (
        f"repotted on {short_date(case.repotted_on)}: a tree is not defoliated in the season of its repotting"
    )


def _not_growing(case: Case) -> str | None:
    if case.repotted_on is None or case.grown_since_repotting:
        return None
    return f"repotted on {short_date(case.repotted_on)}, and no look shows it growing strongly since"


def _wilting(case: Case) -> str | None:
    return "it is wilting: water, shade, and cut another day" if case.says(WILTING) else None


def _wet(case: Case) -> str | None:
    if not (case.species.prone and case.says(WET)):
        return None
    return f"{case.species.name} takes canker and blight through wet wounds: cut in a dry spell"


def _flower(case: Case) -> str | None:
    if case.grown_for != "flower" or case.species.woken_by == "bloom":
        return None
    if case.t > case.late_summer:
        return "a cut now removes flower buds already set for next spring"
    return "grown for flower: what is cut now cannot set flower buds; keep the short spurs"


def _fruit(case: Case) -> str | None:
    if case.grown_for != "fruit":
        return None
    return "grown for fruit: a cut now takes this year's fruit with it; spare the shoots that carry it"


def _bloom(case: Case) -> str | None:
    if case.species.woken_by != "bloom" or case.t <= case.late_summer:
        return None
    return f"{case.species.name} is shaped right after bloom; by now a cut removes next year's flower buds"


# ----------------------------------------------------------------------------------------- work and flush


def _second(case: Case) -> str | None:
    before = case.done(*DEFOLIATION)
    if not before or case.species.defoliation == "repeat":
        return None
    return f"defoliated on {short_date(before[-1].latest)} already: once a season is what it stands"


def _full_again(case: Case) -> str | None:
    before = case.done("full-defoliation", seasons_ago=1)
    if not before:
        return None
    return "fully defoliated last season: at most every second year"


def _not_hard(case: Case) -> str | None:
    h = case.history
    if h is None or h.stage is None or h.last_look is None or case.early or case.shown("hardened"):
        return None
    if case.t - h.last_look > LOOK_IS_OLD_DAYS:
        return None
    return f"last seen {h.stage}: look first, and cut only what is firm and springs back when pressed"


def _checked(case: Case) -> str | None:
    if case.history is None or not case.history.checked:
        return None
    return "growth was checked, and a flush that stopped for want of water or room is not a hardened one"


def _halved_first(case: Case) -> str | None:
    began = case.history.flush.started_on if case.history else None
    halved = [w for w in case.done("halving") if began is None or w.latest > began]
    if not halved or case.operation != "cutback":
        return None
    return f"leaves were halved on {short_date(halved[-1].latest)}: cut back first, then halve what is left"


def _pinching(case: Case) -> str | None:
    if case.stage is None or case.stage == "extending":
        return None
    if case.shown("extended"):
        return "pinching is for soft tips while shoots lengthen; these have stopped, so cut back when hard"
    return "pinching opens when shoots lengthen, and lasts days; they do not yet"


def _basal(case: Case) -> str | None:
    return "the budless lowest leaf is taken off only where the canopy is very full"


def _repotting(case: Case) -> str | None:
    if case.species.woken_by == "warmth":
        return None
    if case.shown("budbreak") and not case.shown("turning"):
        return "buds have broken: the window for repotting was while they swelled; keep the roots whole now"
    return None


def _pruning(case: Case) -> str | None:
    if case.species.habit != "deciduous" or case.stage is None:
        return None
    if case.shown("budbreak") and not case.shown("bare"):
        return "structural pruning waits until the tree is bare, when its lines can be seen and it rests"
    return None


def _weak_low(case: Case) -> str | None:
    if case.part == "bottom":
        return "weak low branches may be left alone, or done two to three weeks after the rest"
    return None


# ---------------------------------------------------------------------------------------- weather and time


def _heat(days: int) -> Callable[[Case], str | None]:
    def fires(case: Case) -> str | None:
        limit = case.garden.limits.hot_day_c
        hot = [(day, high) for day, _, high in case.ahead(days) if high > limit]
        if not hot:
            return None
        day, high = max(hot, key=lambda d: d[1])
        heat = f"{degrees(round(high))} on {short_date(day)}, above {degrees(limit)}"
        return f"{heat}: bared and new leaves scorch; wait it out"

    return fires


def _frost(case: Case) -> str | None:
    limit = case.garden.limits.frost_c
    cold = [(day, low) for day, low, _ in case.ahead(FROST_AHEAD_DAYS) if low <= limit]
    if not cold:
        return None
    day, low = cold[0]
    return f"frost ahead ({degrees(round(low))} on {short_date(day)}): cuts and new growth would be hurt"


def _away(case: Case) -> str | None:
    gone = case.away(AWAY_DAYS)
    if gone is None:
        return None
    from_to = f"from {short_date(gone[0])} to {short_date(gone[1])}"
    return f"nobody is home to water {from_to}: worked trees need a daily eye"


def _late(case: Case) -> str | None:
    late = case.late
    if late is None or late.zone(case.t, case.required) != "danger":
        return None
    odds = late.curve.odds(case.t)
    share = f"{odds:.0%}" if odds >= 0.005 else "under 1%"
    why = f"it ripens with odds of {share}, where {in_words(case.required)} is asked"
    if odds >= case.required:
        why = late.reason(case.required)
    until = "until spring" if case.species.habit == "evergreen" else "until bare"
    return f"too late to wake growth: {why}; leave it {until}"


def _rests(case: Case) -> str | None:
    late = case.late
    if late is None or late.zone(case.t, case.required) != "rests" or case.shown("bare"):
        return None
    if case.species.habit == "evergreen":
        return "so late a cut rests until spring; leave it until then"
    return "so late a cut rests until spring; leaves still feed the tree, so leave it until bare"


RULES: tuple[Rule, ...] = (
    Rule("aim", SHAPING, True, TRADE, _aim),
    Rule("never defoliated", DEFOLIATION, True, TRADE, _never),
    Rule("broadleaf evergreen", DEFOLIATION, True, TRADE, _evergreen),
    Rule("tropical fig", DEFOLIATION, True, f"{TRADE}; warm nights: {MEMORY}", _fig),
    Rule("weak tree", (*SHAPING, "pinching"), True, TRADE, _weak),
    Rule("repotted this season", DEFOLIATION, True, TRADE, _repotted),
    Rule("second defoliation", DEFOLIATION, True, TRADE, _second),
    Rule("full defoliation again", ("full-defoliation",), True, TRADE, _full_again),
    Rule("wilting", (*CUTTING, "repotting"), True, TRADE, _wilting, on_the_day=True),
    Rule("wet leaves", (*CUTTING, "pruning"), True, MEMORY, _wet, on_the_day=True),
    Rule("heat after defoliating", DEFOLIATION, True, TRADE, _heat(HEAT_AFTER_DEFOLIATING)),
    Rule("heat after cutting", ("cutback", "halving", "pinching"), False, TRADE, _heat(HEAT_AFTER_CUTTING)),
    Rule("frost ahead", (*WAKING, "repotting"), False, TRADE, _frost),
    Rule("nobody home", DEFOLIATION, True, TRADE, _away),
    Rule("nobody home to water", ("cutback", "halving", "repotting"), False, TRADE, _away),
    Rule("too late", WAKING, True, f"{TRADE}; calendar limits: {MEMORY}", _late),
    Rule("rests until spring", ("cutback", *DEFOLIATION), True, TRADE, _rests),
    Rule("not hard yet", ("cutback", "halving", "partial-defoliation"), False, TRADE, _not_hard, True),
    Rule("checked growth", (*SHAPING, "pinching"), True, TRADE, _checked),
    Rule("not growing strongly", ("cutback", "halving", "pinching"), False, TRADE, _not_growing),
    Rule("evergreen window", ("cutback", "halving"), False, TRADE, _evergreen_window, on_the_day=True),
    Rule("grown for flower", ("cutback", *DEFOLIATION), False, TRADE, _flower),
    Rule("grown for fruit", ("cutback", *DEFOLIATION), False, TRADE, _fruit),
    Rule("after bloom only", ("cutback", "pinching"), False, TRADE, _bloom),
    Rule("halved before cut", ("cutback",), False, TRADE, _halved_first),
    Rule("pinching is for soft tips", ("pinching",), False, TRADE, _pinching, on_the_day=True),
    Rule("basal leaf", ("basal-leaf",), False, TRADE, _basal),
    Rule("repotting window", ("repotting",), False, TRADE, _repotting, on_the_day=True),
    Rule("pruning when bare", ("pruning",), False, TRADE, _pruning, on_the_day=True),
    Rule("weak low branches", ("cutback", *DEFOLIATION), False, TRADE, _weak_low),
)
