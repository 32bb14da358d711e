"""Which technique a flush opens: for this species, this flush, this zone of the tree, this season's work.

A pure choice over what is known: the odds say how late it is, the leaf says when it is ready. Common
practice, no source, unless a species' own profile says otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

from phenology.language.counts import counted
from phenology.model.operations import HALVING_JOINS, Operation
from phenology.model.stages import stage_rank
from phenology.species.fields import TECHNIQUES
from phenology.species.species import Species
from phenology.work.season_of_work import LEAVES_FEED, until_rest
from phenology.work.situation import Situation
from phenology.work.zones import LATER_DAYS

OPERATION_OF = {**TECHNIQUES, "thin": "thinning"}
"""What each technique is written down as; thinning is open to every species."""

BARED_AGAIN = 42
"""A tree that may be bared twice is given so long in between, and so is any before a full one. [days]"""

MOST_BARED = 2
"""So often a season is such a tree bared at most."""

WHEN_READY = {
    "pinch": "while tips are soft",
    "bloom-cut": "as the flowers fade",
    "halve": "when the leaves are hard",
    "extend-cut": "when the leaves are hard",
    "outer-defoliation": "when the leaves are hard",
    "full-defoliation": "when the leaves are hard",
    "thin": "at any time in leaf",
}
AFTER_FROST = "as hard frost ends, before spring growth"

UNMET = {
    "strong": "only on a strong tree",
    "not-repotted": "not in the season of its repotting",
    "warm-nights": "only while nights stay warm",
}
_COUNTS = ("no", "one", "two", "three", "four", "five", "six")
_BARING = ("outer-defoliation", "full-defoliation")
_BREAK, _HARD, _TURN = stage_rank("budbreak"), stage_rank("hardened"), stage_rank("turning")


@dataclass(frozen=True, eq=False, repr=False)
class Option:
    """One technique that the flush may open."""

    technique: str
    operation: str
    ready: bool  # whether the leaf, tip or flower is ready for it
    when: str  # what it waits for, in words
    unmet: tuple[str, ...] = ()  # what stands against it, in words; empty where nothing does
    # how long after the rest of the tree it is done; None together with it
    after_days: tuple[int, int] | None = None

    @property
    def open(self) -> bool:
        """Whether it may be done now."""
        return self.ready and not self.unmet

    @property
    def wakes(self) -> bool:
        """Whether it wakes growth."""
        return Operation(self.operation).wakes


class Choice(NamedTuple):
    """What there is to choose from."""

    situation: Situation
    options: tuple[Option, ...] = ()  # first choice first; none where the zone is left alone
    leave: str = ""  # why it is left alone, in words; empty where there are options

    @property
    def now(self) -> tuple[str, ...]:
        """The techniques of today: the first open one, halving with a cut; else what wakes nothing."""
        waking = next((o.technique for o in self.options if o.open and o.wakes), None)
        quiet = tuple(o.technique for o in self.options if o.open and not o.wakes)
        if waking is None:
            return quiet
        return (waking, *(q for q in quiet if q == "halve")) if waking == "extend-cut" else (waking,)

    @property
    def ahead(self) -> tuple[Option, ...]:
        """Options that only wait for the leaf, tip or flower."""
        return tuple(o for o in self.options if not o.ready and not o.unmet)

    @property
    def refused(self) -> tuple[Option, ...]:
        """Options that something stands against."""
        return tuple(o for o in self.options if o.unmet)

    @property
    def branches(self) -> tuple[tuple[str, ...], ...]:
        """The ways that the craft leaves open for this flush, now or later: for a plan of the season."""
        good = [o for o in self.options if not o.unmet and o.technique != "thin"]
        ways = [(o.technique,) for o in good if o.wakes]
        if not any(o.technique == "halve" for o in good):
            return tuple(ways)
        return tuple((*way, "halve") if way == ("extend-cut",) else way for way in ways) or (("halve",),)

    @property
    def sentence(self) -> str:
        """What to do, in one sentence without a full stop."""
        s = self.situation
        if self.leave:
            return self.leave
        if self.now:
            does = in_turn(self.now, s.species)
            wakes = any(Operation(OPERATION_OF[t]).wakes for t in self.now)
            text = f"no more cutting {until_rest(s.species)}; {does}" if s.too_late and not wakes else does
        elif self.ahead:
            first = self.ahead[0]
            text = f"{first.when}, {doing(first.technique, s.species)}"
        elif s.too_late:
            text = f"no more cutting {until_rest(s.species)}; let it harden"
        else:
            text = "leave it alone"
        later = next((o.after_days for o in self.options if o.after_days), None)
        return f"leave it, or two to three weeks after the rest: {text}" if later else text


def kept(species: Species) -> str:
    """How much a cut keeps, in words.

    Examples
    --------
    >>> from phenology.species.catalogue import load_species
    >>> [kept(load_species()[s]) for s in ("Ulmus minor", "Acer palmatum", "Punica granatum")]
    ['two leaves', 'one pair of leaves', 'one or two pairs of leaves']
    """
    low, high = species.keeps
    paired = species.arrangement == "opposite"
    noun = (
        ("pair of leaves" if high == 1 else "pairs of leaves")
        if paired
        else ("leaf" if high == 1 else "leaves")
    )
    counts = [_COUNTS[n] if n < len(_COUNTS) else str(n) for n in (low, high)]
    if low == high:
        return f"{counts[0]} {noun}"
    return f"{counts[0]} {'or' if high == low + 1 else 'to'} {counts[1]} {noun}"


def doing(technique: str, species: Species) -> str:
    """What a technique means on a species, as an order.

    Examples
    --------
    >>> from phenology.species.catalogue import load_species
    >>> doing("extend-cut", load_species()["Acer palmatum"])
    'cut shoots back to one pair of leaves'
    """
    return {
        "pinch": "take off the soft tips of strong outer shoots",
        "extend-cut": f"cut shoots back to {kept(species)}",
        "bloom-cut": f"cut shoots back to {kept(species)}, flowers and seed heads off",
        "outer-defoliation": "take the leaves off the outer canopy, stalks left on, inner ones untouched",
        "full-defoliation": "take off all leaves, stalks left on",
        "halve": "halve the outer leaves",
        "thin": "thin crowded shoots to two at a fork",
    }[technique]


def in_turn(techniques: Iterable[str], species: Species) -> str:
    """Techniques one after another, as one order."""
    return ", then ".join(doing(technique, species) for technique in techniques)


def choose(s: Situation) -> Choice:
    """What a flush opens in a zone of a tree.

    Examples
    --------
    >>> from phenology.species.catalogue import load_species
    >>> from phenology.work.zones import Vigour
    >>> quince = Situation(load_species()["Pseudocydonia sinensis"], stage="hardened")
    >>> choose(quince).now, choose(replace(quince, vigour=Vigour("strong"))).now
    (('extend-cut', 'halve'), ('outer-defoliation',))
    >>> choose(replace(quince, flush=2, grade="too late")).sentence
    'no more cutting until bare; halve the outer leaves, then thin crowded shoots to two at a fork'
    """
    leave = _leave(s)
    if leave:
        return Choice(s, leave=leave)
    low = _goes_later(s)
    options = tuple(replace(o, after_days=LATER_DAYS) if low else o for o in _options(s))
    return Choice(s, options, "" if options else "this flush opens nothing: leave it alone")


def _leave(s: Situation) -> str:
    """Why nothing is done; empty where something may be."""
    if s.zone == "inside":
        return "leave inner shoots and leaves whole: what they need is the light that work outside lets in"
    if s.aim == "building":
        return "being built: let it grow and feed it; nothing is cut back, halved or bared"
    if s.aim != "refining":
        return f"{s.aim}: leave it alone"
    if s.vigour.whole == "weak" or (s.zone == "outer" and s.vigour.of("outer") == "weak"):
        return "weak: let it grow first, and feed it only as it grows"
    if s.zone == "low" and s.vigour.zones.get("low") == "weak":
        return "leave weak low branches alone: they gain while the rest is held"
    if s.checked:
        return "growth was checked: find out why, and wait until it moves and hardens"
    if any(d.this_flush and d.operation.endswith("-defoliation") for d in s.done):
        return "bared already: wait for the next flush to harden"
    if s.reached(_TURN):
        return "its growing year is over: see the winter list"
    return ""


def _options(s: Situation) -> Iterator[Option]:
    fresh, halved = s.last("cutback"), s.last("halving")
    joins = fresh is not None and fresh <= HALVING_JOINS
    whole = not joins and not any(d.this_flush and d.operation == "halving" for d in s.done)
    if joins and s.species.takes("halve") and (halved is None or halved > (fresh or 0)):
        yield Option("halve", "halving", True, "with the cut just made")
    cuts = False
    for technique in s.species.opens(s.flush):
        if (technique == "halve" and not whole) or (technique in _BARING and _goes_later(s)):
            continue
        ready = _ready(technique, s)
        if ready is None:
            continue
        when = AFTER_FROST if _after_frost(technique, s) else WHEN_READY[technique]
        cuts = cuts or technique == "extend-cut"
        yield Option(technique, OPERATION_OF[technique], ready, when, tuple(_unmet(technique, s)))
    wounds = _flower_buds(s) or "silver-leaf" in s.species.diseases  # which enters autumn's wounds
    if cuts and s.too_late and s.reached(_HARD) and not wounds:
        yield Option("thin", "thinning", True, WHEN_READY["thin"])


def _goes_later(s: Situation) -> bool:
    """Whether low branches wait for the rest: unless the tree leads from its base, or they are strong."""
    return s.zone == "low" and s.species.leads == "top" and s.vigour.zones.get("low") != "strong"


def _after_frost(technique: str, s: Situation) -> bool:
    return technique == "bloom-cut" and s.species.blooms == "autumn"


def _ready(technique: str, s: Situation) -> bool | None:
    """Whether tip, leaf or flower is ready; None where its time is past."""
    if technique == "pinch":
        return None if s.reached(stage_rank("extended")) else s.reached(_BREAK)
    if technique != "bloom-cut":
        return s.reached(_HARD)
    if _after_frost(technique, s):
        return None if s.reached(_BREAK) else s.stage == "swelling"
    return None if s.buds_set else s.flowers == "faded"


def _unmet(technique: str, s: Situation) -> Iterator[str]:
    asked = s.species.needs.get(technique, ())
    if "strong" in asked:
        strength = s.vigour.of(s.zone) if technique == "outer-defoliation" else s.vigour.whole
        if strength != "strong":
            yield f"{UNMET['strong']}, and {'it is weak' if strength == 'weak' else 'nobody says that it is'}"
    if "not-repotted" in asked and s.repotted:
        yield UNMET["not-repotted"]
    if "warm-nights" in asked and s.nights_warm is not True:
        yield UNMET["warm-nights"]
    if technique in _BARING:
        yield from _bared_before(technique, s)
    if technique == "halve" and s.grade == "rests" and not s.guess:
        yield LEAVES_FEED
    # the bloom has a window of its own, which closes sooner: as next year's buds are set
    if s.too_late and technique != "bloom-cut" and Operation(OPERATION_OF[technique]).wakes:
        rests = f"so late a cut only rests; leave it {until_rest(s.species)}"
        yield rests if s.grade == "rests" else f"too late to wake growth: {s.grade}"
    if technique in ("extend-cut", *_BARING) and _flower_buds(s):
        summer = s.species.blooms == "summer"
        yield "its flowers come on these shoots" if summer else "next year's flower buds are set"


def _flower_buds(s: Situation) -> bool:
    """Whether a cut would take flower buds that are set for next spring."""
    return s.buds_set and (s.grown_for or s.species.grown_for) == "flower" and not s.species.bloom_led


def _bared_before(technique: str, s: Situation) -> Iterator[str]:
    days = s.last("partial-defoliation", "full-defoliation")
    if days is not None and s.species.defoliation != "repeat":
        yield "bared this season already, and once is what it stands"
    elif sum(d.operation.endswith("-defoliation") and not d.seasons_ago for d in s.done) >= MOST_BARED:
        yield "bared twice this season already, and twice is what it stands"
    elif days is not None and days < BARED_AGAIN:
        yield f"bared {counted(days, 'days')} ago: six weeks at least lie between"
    if technique == "full-defoliation" and any(
        d.operation == technique and d.seasons_ago == 1 for d in s.done
    ):
        yield "all leaves were taken last season: every second year at most"
