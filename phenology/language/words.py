"""The everyday words growers use for stages, work, marks and parts of a tree.

One short list each. Besides these, any beginning of a word that can mean one thing only is enough ("hard",
"swell"); anything else is answered with the nearest words. All of it is common practice, no source.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping
from functools import cache, lru_cache
from typing import Any, TypeVar

from phenology.model.errors import InputError, UnknownNameError
from phenology.model.names import Name
from phenology.model.operations import Operation
from phenology.model.stages import Mark, Part, Stage

STAGE_WORDS: dict[Stage, tuple[str, ...]] = {
    Stage.DORMANT: ("closed", "buds closed", "asleep", "sleeping", "tight buds"),
    Stage.SWELLING: ("swollen", "fat", "fat buds", "buds fat", "buds moving"),
    Stage.BUDBREAK: ("bud break", "breaking", "green tips", "tips showing", "opening", "buds open"),
    Stage.EXTENDING: (
        *("soft", "still soft", "growing", "still going", "going", "running", "lengthening"),
        *("bright green", "bright", "pale", "floppy", "tender"),
    ),
    Stage.EXTENDED: ("stopped", "slowed", "full size", "shoots stopped", "done growing"),
    Stage.HARDENED: (
        *("firm", "hard", "leathery", "hardened off", "mature", "ripe"),
        *("dark", "dark green", "glossy", "stiff"),
    ),
    Stage.TURNING: ("colouring", "coloring", "yellowing", "autumn colour", "falling", "leaf fall"),
    Stage.BARE: ("leafless", "no leaves", "leaves down", "naked"),
}

OPERATION_WORDS: dict[Operation, tuple[str, ...]] = {
    Operation.CUTBACK: ("cut", "cut back", "trim", "trimmed", "shortened", "cut to two"),
    Operation.HALVING: ("halve", "halved", "leaf halving", "leaves halved", "half leaves"),
    Operation.PARTIAL_DEFOLIATION: ("partial", "outer defoliation", "partly defoliated", "outer leaves off"),
    Operation.FULL_DEFOLIATION: ("full", "defoliation", "defoliate", "defoliated", "all leaves off"),
    Operation.PINCHING: ("pinch", "pinched", "tips out"),
    Operation.REPOTTING: ("repot", "repotted", "root work"),
    Operation.WIRING: ("wire", "wired", "wire on"),
    Operation.WIRE_REMOVAL: ("unwire", "unwired", "wire off", "wire removed"),
    Operation.THINNING: ("thin", "thinned", "shoots out"),
    Operation.BASAL_LEAF: ("basal", "lowest leaf", "budless leaf"),
    Operation.PRUNING: ("prune", "pruned", "winter pruning", "wood pruning"),
    Operation.MOVING: ("move", "moved"),
    Operation.FEEDING: ("feed", "fed", "fertilised", "fertilized"),
    Operation.PEST_TREATMENT: ("pest", "spray", "sprayed", "treated", "treatment"),
    Operation.OTHER: ("something else",),
}

MARK_WORDS: dict[Mark, tuple[str, ...]] = {
    Mark.CHECKED: ("stalled", "stuck", "paused", "stopped by heat", "stopped by drought"),
    Mark.LOST: ("frosted", "broken", "eaten", "dead", "killed"),
}

BLOOM_WORDS: dict[str, tuple[str, ...]] = {
    "flowering": ("in flower", "in bloom", "blooming", "full bloom"),
    "faded": ("flowers faded", "bloom over", "flowers over", "done flowering"),
}
"""What is said of flowers: it goes with the stage of the leaves and says nothing of them."""

PART_WORDS: dict[Part, tuple[str, ...]] = {
    Part.TOP: ("upper", "crown", "apex", "outer", "outside", "canopy"),
    Part.BOTTOM: ("lower", "low"),
    Part.INSIDE: ("inner", "interior"),
}


_WORDS: dict[type[Name], Mapping[Any, tuple[str, ...]]] = {
    Stage: STAGE_WORDS,
    Operation: OPERATION_WORDS,
    Mark: MARK_WORDS,
    Part: PART_WORDS,
}
N = TypeVar("N", bound=Name)


def find_name(kind: type[N], text: str) -> N:
    """The stage, operation, mark or part meant by a word.

    Raises
    ------
    UnknownNameError
        If none is meant; near matches are offered.
    InputError
        If the word could be more than one, or is near to none.

    Examples
    --------
    >>> find_name(Stage, "soft").value, find_name(Operation, "wire off").value, find_name(Part, "crown").value
    ('extending', 'wire-removal', 'top')
    """
    meaning = _meanings(kind)
    wanted = plain_words(text)
    if wanted in meaning:
        return kind(meaning[wanted])
    begun = list(dict.fromkeys(name for word, name in meaning.items() if wanted and word.startswith(wanted)))
    if len(begun) == 1:
        return kind(begun[0])
    if begun:
        raise InputError(f"'{text}' may be {' or '.join(begun)}; write a little more of the word")
    what = kind.__name__.lower()
    if offers := _offers(kind, text):
        raise UnknownNameError(what, text, offers)
    raise InputError(f"there is no {what} called '{text}'; it is one of {', '.join(kind)}")


def find_stage(text: str) -> Stage:
    """The stage meant by a word; raises as `find_name` does."""
    return find_name(Stage, text)


def find_bloom(text: str) -> str | None:
    """What a word says of flowers; None where it says nothing.

    Examples
    --------
    >>> find_bloom("in bloom"), find_bloom("faded"), find_bloom("firm")
    ('flowering', 'faded', None)
    """
    wanted = plain_words(text)
    return next((name for name, words in BLOOM_WORDS.items() if wanted in (name, *words)), None)


def find_operation(text: str) -> Operation:
    """The operation meant by a word; raises as `find_name` does."""
    return find_name(Operation, text)


def find_mark(text: str) -> Mark:
    """The mark meant by a word; raises as `find_name` does."""
    return find_name(Mark, text)


def find_part(text: str) -> Part:
    """The part of a tree meant by a word; raises as `find_name` does."""
    return find_name(Part, text)


@lru_cache(maxsize=1 << 16)
def plain_words(text: str) -> str:
    """Lower case, single spaces, no hyphens or underscores or end stops: how two names are compared."""
    return " ".join(re.sub(r"[-_]+", " ", text.casefold()).split()).rstrip(".!,")


def near_words(text: str, known: Mapping[str, str], most: int = 3) -> tuple[str, ...]:
    """The nearest names to a text, best first; `known` maps each spelling to the name that is offered."""
    wanted = plain_words(text)
    comparable = len(wanted) <= 3 * max(map(len, known), default=0)  # nothing far longer is near
    close = difflib.get_close_matches(wanted, list(known), n=most * 3, cutoff=0.6) if comparable else []
    spellings = sorted(close, key=lambda s: (-difflib.SequenceMatcher(None, s, wanted).ratio(), s))
    spellings += [s for s in known if wanted and len(wanted) >= 3 and wanted in s]
    return tuple(dict.fromkeys(known[s] for s in spellings))[:most]


@lru_cache(maxsize=1024)
def _offers(kind: type[Name], text: str) -> tuple[str, ...]:
    """The nearest word for each of a few names that a text may mean."""
    meaning = _meanings(kind)
    shown = {
        word: name if word == plain_words(name) else f"{word} ({name})" for word, name in meaning.items()
    }
    means = {offer: meaning[word] for word, offer in shown.items()}
    offers: dict[str, str] = {}
    for offer in near_words(text, shown, most=9):
        offers.setdefault(means[offer], offer)
    return tuple(offers.values())[:3]


@cache
def _meanings(kind: type[Name]) -> dict[str, str]:
    """Every word for a kind of thing, with the name it means."""
    return {plain_words(word): name for name, words in _WORDS[kind].items() for word in (name, *words)}
