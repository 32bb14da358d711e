"""When in the year roots and wood are cut: each season by the tree's own state first, the calendar second.

Common practice, no source; the day counts from midwinter are ours and only stand in where nobody looked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from phenology.model.stages import stage_rank
from phenology.species.species import Species

_BREAK, _TURN = stage_rank("budbreak"), stage_rank("turning")

SAP_RISES = 21
"""From so many days after midwinter trees that bleed are left until they are in leaf (ours). [days]"""

SPRING = (30, 130)
"""Days after midwinter on which buds are taken to swell, where nobody looked (ours)."""

IN_LEAF = (160, 300)
"""Days after midwinter on which a tree is taken to be in leaf, where nobody looked (ours)."""

LEAFLESS = (325, 45)
"""From so many days after one midwinter to so many after the next no leaf is taken to be out (ours)."""

SUMMER, AUTUMN = (160, 255), (250, 325)
"""Days after midwinter of dry summer weather, and of the weeks before hard frost (ours)."""

WHEN = {
    "bare": "once it is bare",
    "leaf-fall": "soon after leaf fall, before sap rises in late winter",
    "bud-swell": "as buds swell in spring, before they break",
    "after-bloom": "right after bloom",
    "summer": "in leaf, in a dry spell of summer",
    "autumn": "in early autumn, weeks before hard frost",
    "warm-nights": "in growth, while nights stay warm",
}

LEAVES_FEED = "leaves turn soon and fill the buds till then: leave them whole"  # common practice, no source


@dataclass(frozen=True, eq=False, repr=False)
class YearState:
    """Where a tree stands in its year."""

    stage: str | None = None  # latest stage seen this season; None where nobody looked
    since_midwinter: int | None = None  # days since the shortest day, 0 to 364; None near the equator
    flowers: str | None = None  # "flowering" or "faded"; None where nobody said
    buds_set: bool = False  # whether next year's flower buds are taken to be set
    nights_warm: bool | None = None  # whether nights stay warm; None where unknown
    blooms: str = "none"  # when the species blooms

    @property
    def in_leaf(self) -> bool | None:
        """Whether buds have broken and leaves have not turned; None where neither look nor date tells."""
        if self.stage is not None:
            return _BREAK <= stage_rank(self.stage) < _TURN
        if self.between(LEAFLESS[0], 365) or self.between(0, LEAFLESS[1]):
            return False
        return True if self.between(*IN_LEAF) else None

    def between(self, first: int, last: int) -> bool | None:
        """Whether the day lies so far after midwinter; None near the equator."""
        return None if self.since_midwinter is None else first <= self.since_midwinter <= last


def _bare(now: YearState) -> bool | None:
    if now.stage is None:
        return False if now.in_leaf else None
    return now.stage == "bare" or stage_rank(now.stage) < _BREAK


def _leaf_fall(now: YearState) -> bool | None:
    return False if now.between(SAP_RISES, IN_LEAF[0]) else _bare(now)


def _bud_swell(now: YearState) -> bool | None:
    if now.stage not in (None, "dormant"):
        return now.stage == "swelling"
    if now.stage is None and now.between(SPRING[1], IN_LEAF[0]):
        return None
    return now.between(*SPRING)


def _after_bloom(now: YearState) -> bool | None:
    leafless = now.in_leaf is False and now.blooms != "late-winter"
    if now.buds_set or now.flowers == "flowering" or (leafless and now.flowers is None):
        return False
    return True if now.flowers == "faded" else None


def _summer(now: YearState) -> bool | None:
    return False if now.in_leaf is False else now.between(*SUMMER)


def _autumn(now: YearState) -> bool | None:
    return now.between(*AUTUMN)


_OPEN: dict[str, Callable[[YearState], bool | None]] = {
    "bare": _bare,
    "leaf-fall": _leaf_fall,
    "bud-swell": _bud_swell,
    "after-bloom": _after_bloom,
    "summer": _summer,
    "autumn": _autumn,
    "warm-nights": lambda now: now.nights_warm,
}


def is_open(seasons: Iterable[str], now: YearState) -> bool | None:
    """Whether one of some seasons of work has come; None where nothing tells.

    Examples
    --------
    >>> is_open(("bud-swell",), YearState("swelling")), is_open(("bud-swell",), YearState("hardened"))
    (True, False)
    >>> is_open(("after-bloom",), YearState("extending")) is None
    True
    """
    found = [_OPEN[season](now) for season in seasons]
    return True if True in found else None if None in found else False


def in_words(seasons: Iterable[str]) -> str:
    """Some seasons of work, in words.

    Examples
    --------
    >>> in_words(("after-bloom", "summer"))
    'right after bloom, or in leaf, in a dry spell of summer'
    """
    return ", or ".join(WHEN[season] for season in seasons)


def rest_of(species: Species) -> tuple[str, str]:
    """Until when a cut is put off that must wake nothing more this year, and from when it is made.

    Examples
    --------
    >>> from phenology.species.catalogue import load_species, neutral_species
    >>> [rest_of(load_species()[s])[0] for s in ("Acer palmatum", "Olea europaea", "Ulmus parvifolia")]
    ['until bare', 'until spring', 'until late winter']
    >>> rest_of(load_species()["Prunus mume"]), rest_of(load_species()["Prunus armeniaca"])
    (('until it has bloomed', 'once it has bloomed'), ('until next summer', 'next summer'))
    >>> rest_of(neutral_species("Corylus avellana"))
    ('until it rests', 'once it rests')
    """
    if species.may_be_evergreen:
        return "until it rests", "once it rests"
    winter = {"deciduous": _ONCE_BARE, "evergreen": _IN_SPRING}.get(species.habit, _IN_LATE_WINTER)
    return {
        "after-bloom": ("until it has bloomed", "once it has bloomed"),
        "summer": ("until next summer", "next summer"),
        "bud-swell": _IN_SPRING,
        "warm-nights": _IN_SPRING,
    }.get(species.prune[0], winter)


_ONCE_BARE, _IN_SPRING = ("until bare", "once bare"), ("until spring", "in spring")
_IN_LATE_WINTER = ("until late winter", "in late winter")


def until_rest(species: Species) -> str:
    """Until when a cut is put off that must wake nothing more this year."""
    return rest_of(species)[0]
