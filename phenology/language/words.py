"""The everyday words growers use for stages, work, marks and parts of a tree.

One short list each. Besides these, any beginning of a word that can mean one thing only is enough ("hard",
"swell"); anything else is answered with the nearest words. All of it is common practice, no source.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Mapping, Sequence
from functools import cache

from phenology.model.errors import InputError, UnknownNameError
from phenology.model.operations import OPERATIONS
from phenology.model.stages import MARKS, PARTS, STAGES

STAGE_WORDS: dict[str, tuple[str, ...]] = {
    "dormant": ("closed", "buds closed", "asleep", "sleeping", "tight buds"),
    "swelling": ("swollen", "fat", "fat buds", "buds fat", "buds moving"),
    "budbreak": ("bud break", "breaking", "green tips", "tips showing", "opening", "buds open"),
    "extending": ("soft", "still soft", "growing", "still going", "going", "running", "lengthening"),
    "extended": ("stopped", "slowed", "full size", "shoots stopped", "done growing"),
    "hardened": ("firm", "hard", "leathery", "hardened off", "mature", "ripe"),
    "turning": ("colouring", "coloring", "yellowing", "autumn colour", "falling", "leaf fall"),
    "bare": ("leafless", "no leaves", "leaves down", "naked"),
}

OPERATION_WORDS: dict[str, tuple[str, ...]] = {
    "cutback": ("cut", "cut back", "trim", "trimmed", "shortened", "cut to two"),
    "halving": ("halve", "halved", "leaf halving", "leaves halved", "half leaves"),
    "partial-defoliation": ("partial", "outer defoliation", "partly defoliated", "outer leaves off"),
    "full-defoliation": ("full", "defoliation", "defoliate", "defoliated", "all leaves off"),
    "pinching": ("pinch", "pinched", "tips out"),
    "repotting": ("repot", "repotted", "root work"),
    "wiring": ("wire", "wired", "wire on"),
    "wire-removal": ("unwire", "unwired", "wire off", "wire removed"),
    "thinning": ("thin", "thinned", "shoots out"),
    "basal-leaf": ("basal", "lowest leaf", "budless leaf"),
    "pruning": ("prune", "pruned", "winter pruning", "wood pruning"),
    "moving": ("move", "moved"),
    "feeding": ("feed", "fed", "fertilised", "fertilized"),
    "pest-treatment": ("pest", "spray", "sprayed", "treated", "treatment"),
    "other": ("something else",),
}

MARK_WORDS: dict[str, tuple[str, ...]] = {
    "checked": ("stalled", "stuck", "paused", "stopped by heat", "stopped by drought"),
    "lost": ("frosted", "broken", "eaten", "dead", "killed"),
}

PART_WORDS: dict[str, tuple[str, ...]] = {
    "top": ("upper", "crown", "apex"),
    "bottom": ("lower", "low"),
    "inside": ("inner", "interior"),
}


def find_stage(text: str) -> str:
    """The stage meant by a word.

    Raises
    ------
    UnknownNameError
        If no stage is meant; near matches are offered.
    InputError
        If the word could be more than one stage.

    Examples
    --------
    >>> find_stage("soft"), find_stage("Still going"), find_stage("swel")
    ('extending', 'extending', 'swelling')
    """
    return _find("stage", text)


def find_operation(text: str) -> str:
    """The operation meant by a word; raises as `find_stage` does.

    >>> find_operation("cut back"), find_operation("defoliated"), find_operation("wire off")
    ('cutback', 'full-defoliation', 'wire-removal')
    """
    return _find("operation", text)


def find_mark(text: str) -> str:
    """The mark meant by a word: `checked` or `lost`; raises as `find_stage` does."""
    return _find("mark", text)


def find_part(text: str) -> str:
    """The part of a tree meant by a word: `top`, `bottom` or `inside`; raises as `find_stage` does."""
    return _find("part", text)


def plain_words(text: str) -> str:
    """Lower case, single spaces, no hyphens or underscores or end stops: how two names are compared."""
    return " ".join(re.sub(r"[-_]+", " ", text.casefold()).split()).rstrip(".!,")


def near_words(text: str, known: Mapping[str, str], most: int = 3) -> tuple[str, ...]:
    """The nearest names to a text, best first; `known` maps each spelling to the name that is offered."""
    wanted = plain_words(text)
    close = difflib.get_close_matches(wanted, list(known), n=most * 3, cutoff=0.6)
    spellings = sorted(close, key=lambda s: (-difflib.SequenceMatcher(None, s, wanted).ratio(), s))
    spellings += [s for s in known if wanted and len(wanted) >= 3 and wanted in s]
    return tuple(dict.fromkeys(known[s] for s in spellings))[:most]


@cache
def _meanings(what: str) -> dict[str, str]:
    """Every word for a kind of thing, with the name it means."""
    names, words = {
        "stage": (STAGES, STAGE_WORDS),
        "operation": (tuple(OPERATIONS), OPERATION_WORDS),
        "mark": (MARKS, MARK_WORDS),
        "part": (PARTS, PART_WORDS),
    }[what]
    return {plain_words(word): name for name in names for word in (name, *words[name])}


def _find(what: str, text: str) -> str:
    meaning = _meanings(what)
    wanted = plain_words(text)
    if wanted in meaning:
        return meaning[wanted]
    begun = list(dict.fromkeys(name for word, name in meaning.items() if wanted and word.startswith(wanted)))
    if len(begun) == 1:
        return begun[0]
    if begun:
        raise InputError(f"'{text}' may be {' or '.join(begun)}; write a little more of the word")
    shown = {
        word: name if word == plain_words(name) else f"{word} ({name})" for word, name in meaning.items()
    }
    nearest = {shown[word]: name for word, name in meaning.items()}
    near = _one_each(near_words(text, shown, most=9), nearest)
    if near:
        raise UnknownNameError(what, text, near)
    raise InputError(
        f"there is no {what} called '{text}'; it is one of {', '.join(dict.fromkeys(meaning.values()))}"
    )


def _one_each(offers: Sequence[str], names: Mapping[str, str], most: int = 3) -> tuple[str, ...]:
    """The first offer for each name."""
    first: dict[str, str] = {}
    for offer in offers:
        first.setdefault(names[offer], offer)
    return tuple(first.values())[:most]
