"""The zones of a tree, and how strong each of them is in the grower's own words. Common practice, no source.

The outer canopy is worked; the inside never is, for it lives on the light that the work lets in; low and weak
branches are left alone, or done two to three weeks after the rest.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

LATER_DAYS = (14, 21)
"""How long after the rest low or weak branches are worked, if at all. [days]"""

WEAK = (
    "weak",
    "sick",
    "ill",
    "ailing",
    "collected",
    "recover",
    "convalescent",
    "poor",
    "low vigour",
    "tired",
)
STRONG = ("strong", "vigorous", "very good")

_ZONE_OF_PART = {"top": "outer", "outer": "outer", "inside": "inside", "bottom": "low", "low": "low"}
_ZONE_WORDS = {
    **dict.fromkeys(
        ("apex", "top", "crown", "outer", "outside", "canopy", "tips", "upper", "above"), "outer"
    ),
    **dict.fromkeys(("inside", "inner", "interior", "within"), "inside"),
    **dict.fromkeys(("bottom", "lower", "lowest", "low", "base", "below"), "low"),
}
_DENIALS = ("not", "no", "never", "without", "nor", "isn't", "hardly")
_BREAKS = (",", ";", ".", "/", " but ", " while ", " though ")


@dataclass(frozen=True)
class Vigour:
    """How strong a tree is: "strong", "weak" or unsaid, as a whole and by zone."""

    whole: str | None = None
    zones: Mapping[str, str] = field(default_factory=dict, hash=False)  # only zones that were spoken of

    def of(self, zone: str) -> str | None:
        """How strong a zone is; the whole tree's word where the zone has none of its own."""
        return self.zones.get(zone, self.whole)


@lru_cache(maxsize=1024)  # growers say the same of many trees
def read_vigour(text: str | None) -> Vigour:
    """What a grower says of a tree's strength, as a whole and zone by zone.

    Examples
    --------
    >>> read_vigour("strong apex, weak inside").zones
    {'outer': 'strong', 'inside': 'weak'}
    >>> read_vigour("newly collected").whole, read_vigour("not strong").whole, read_vigour(None).whole
    ('weak', None, None)
    >>> read_vigour("strong, but low branches weak")
    Vigour(whole='strong', zones={'low': 'weak'})
    """
    whole: str | None = None
    zones: dict[str, str] = {}
    for clause in _clauses(text or ""):
        for zone, how in _read(clause):
            if zone is None:
                whole = "weak" if "weak" in (whole, how) else how
            else:
                zones[zone] = how
    return Vigour(whole, zones)


def zone_of(part: str | None) -> str | None:
    """The zone that a part of a look or of work means; None for the whole tree.

    Examples
    --------
    >>> zone_of("bottom"), zone_of("top"), zone_of(None)
    ('low', 'outer', None)
    """
    return None if part is None else _ZONE_OF_PART.get(part)


def names(text: str, words: tuple[str, ...]) -> bool:
    """Whether a text names one of some things, not denied: any word may begin with it.

    Examples
    --------
    >>> names("leaves wilting a little", ("wilt",)), names("not wilting", ("wilt",)), names("still", ("ill",))
    (True, False, False)
    """
    tokens = text.casefold().replace(",", " ").replace(".", " ").replace(";", " ").split()
    for word in words:
        if " " in word and word in " ".join(tokens):
            return True
        for before, token in zip(["", *tokens], tokens, strict=False):
            if _begins(token, word) and before not in _DENIALS:
                return True
    return False


def _begins(token: str, word: str) -> bool:
    """A token that is a word, or an inflection of a longer one."""
    return token == word or (len(word) >= 4 and token.startswith(word))


def _clauses(text: str) -> list[str]:
    """What is said one thing at a time; "and" parts "strong apex and weak inside", not "weak and sick"."""
    for mark in _BREAKS:
        text = text.casefold().replace(mark, "\n")
    both = ((clause, names(clause, WEAK) and names(clause, STRONG)) for clause in text.split("\n"))
    return [part for clause, parted in both for part in (clause.split(" and ") if parted else [clause])]


def _read(clause: str) -> list[tuple[str | None, str]]:
    how = "weak" if names(clause, WEAK) else "strong" if names(clause, STRONG) else None
    if how is None:
        return []
    spoken = clause if "low vigour" not in clause else clause.replace("low vigour", "")
    found = dict.fromkeys(_ZONE_WORDS[word] for word in spoken.split() if word in _ZONE_WORDS)
    return [(zone, how) for zone in found] or [(None, how)]
