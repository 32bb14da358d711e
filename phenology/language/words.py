"""The everyday words growers use for stages, work, marks and parts of a tree.

One short list each. Besides these, any beginning of a word that can mean one thing only is enough ("hard",
"swell"); anything else is answered with the nearest words. All of it is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache, lru_cache, partial
from typing import Any, TypeVar

from phenology.mathematics.likeness import spellings
from phenology.model.errors import InputError, UnknownNameError, beginning
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

# What the leaves of other languages' notebooks are called, whole words only. From memory, unverified; words
# that fit more than one thing ("Schnitt", "taille", "poda", "potatura", "snoei") are left out on purpose.
_ABROAD: dict[Stage | Operation, str] = {
    Stage.DORMANT: "winterruhe, knospenruhe, dormance, dormancia, riposo, winterrust",
    Stage.SWELLING: "knospenschwellen, knospen schwellen, gonflement, gonflement des bourgeons",
    Stage.BUDBREAK: "austrieb, ausgetrieben, laubaustrieb, blattaustrieb, knospenaufbruch, débourrement, "
    "débourré, brotación, brotado, germogliamento, germogliato, uitlopen, uitgelopen",
    Stage.EXTENDING: "weich, wächst, tendre, en croissance, en crecimiento, tierno, tenero, zacht, groeit",
    Stage.EXTENDED: "ausgewachsen, triebabschluss, pousse terminée, croissance terminée, uitgegroeid",
    Stage.HARDENED: "ausgehärtet, ausgereift, hart, verhärtet, durci, durcie, durcies, endurecido, "
    "endurecida, endurecidas, indurito, indurita, indurite, uitgehard, afgehard",
    Stage.TURNING: "herbstfärbung, laubfärbung, laubfall, blattfall, chute des feuilles, coloration, "
    "caída de hojas, caduta foglie, caduta delle foglie, bladval, herfstkleur",
    Stage.BARE: "kahl, laublos, sans feuilles, sin hojas, senza foglie, kaal",
    Operation.CUTBACK: "rückschnitt, zurückgeschnitten, rabattage, rabattu, recorte, recortado, "
    "accorciamento, accorciato, teruggesnoeid, teruggeknipt",
    Operation.PARTIAL_DEFOLIATION: "teilentlaubung, teilweise entlaubt, défoliation partielle, "
    "defoliado parcial, defogliazione parziale, gedeeltelijk ontbladerd",
    Operation.FULL_DEFOLIATION: "entlaubt, entlaubung, blattschnitt, défoliation, défolié, defoliado, "
    "defoliación, defogliazione, defogliato, ontbladerd, ontbladeren",
    Operation.HALVING: "blätter halbiert, halbiert",
    Operation.PINCHING: "pinziert, pinzieren, pincement, pincé, pinzado, pinzatura, pinzato, pinceren",
    Operation.REPOTTING: "umgetopft, umtopfen, rempotage, rempoté, trasplante, trasplantado, rinvaso, "
    "rinvasato, verpot, verpotten",
    Operation.WIRING: "gedrahtet, drahten, ligature, ligaturé, alambrado, bedraad, bedraden",
    Operation.WIRE_REMOVAL: "entdrahtet, draht ab, draad eraf",
    Operation.FEEDING: "gedüngt, düngung, fertilisation, abonado, concimazione, concimato, bemest",
}
_FILLING = {"leaves", "leaf", "shoots", "shoot", "buds", "all", "now", "the", "are", "is", "very", "quite"}
"""Words that say nothing of the stage: "leaves hard" is hard."""


NEAR = 0.74
"""How much of a mistyped word must agree for a known one to be offered (ours)."""

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
    if (name := _exactly(kind, wanted)) is not None:
        return name
    begun = list(dict.fromkeys(name for word, name in meaning.items() if wanted and word.startswith(wanted)))
    if len(begun) == 1:
        return kind(begun[0])
    if begun:
        raise InputError(f"'{text}' may be {' or '.join(begun)}; write a little more of the word")
    if kind is Stage and (other := _exactly(Operation, wanted)) is not None:
        raise InputError(f"'{text}' is work ({other}), not a stage; write it down with flushcast work")
    if kind is Operation and (seen := _exactly(Stage, wanted)) is not None:
        raise InputError(f"'{text}' is a stage ({seen}), not work; write it down with flushcast look")
    what = kind.__name__.lower()
    if offers := _offers(kind, text):
        raise UnknownNameError(what, text, offers)
    raise InputError(f"there is no {what} called '{beginning(text)}'; it is one of {', '.join(kind)}")


find_stage, find_operation = partial(find_name, Stage), partial(find_name, Operation)
find_mark, find_part = partial(find_name, Mark), partial(find_name, Part)


def find_event(text: str) -> Stage | Operation:
    """The stage or the work meant, where a notebook mixes both; raises as `find_name` does.

    Examples
    --------
    >>> find_event("leaves hard"), find_event("cut back"), find_event("Austrieb")
    (<Stage.HARDENED: 'hardened'>, <Operation.CUTBACK: 'cutback'>, <Stage.BUDBREAK: 'budbreak'>)
    """
    found = known_event(text)
    if found is not None:
        return found
    near: list[str] = []
    for find in (find_stage, find_operation) if len(text.strip()) > 2 else ():
        try:
            return find(text)
        except UnknownNameError as error:
            near += error.near
        except InputError:
            pass
    raise UnknownNameError("stage or work", text, near[:3])


def known_event(text: str) -> Stage | Operation | None:
    """The stage or work that is called just so, or None."""
    wanted = plain_words(text)
    return _exactly(Stage, wanted) or _exactly(Operation, wanted)


def _exactly(kind: type[N], wanted: str) -> N | None:
    """What a whole word means, words that say nothing left aside."""
    bare = " ".join(word for word in wanted.split() if word not in _FILLING)
    for words in (wanted, bare):
        name = _meanings_abroad(kind).get(words) or _meanings(kind).get(words)
        if name is not None:
            return kind(name)
    return None


def find_bloom(text: str) -> str | None:
    """What a word says of flowers; None where it says nothing.

    Examples
    --------
    >>> find_bloom("in bloom"), find_bloom("faded"), find_bloom("firm")
    ('flowering', 'faded', None)
    """
    wanted = plain_words(text)
    return next((name for name, words in BLOOM_WORDS.items() if wanted in (name, *words)), None)


@lru_cache(maxsize=1 << 16)
def plain_words(text: str) -> str:
    """Lower case, single spaces, no hyphens or underscores or end stops: how two names are compared."""
    return " ".join(re.sub(r"[-_]+", " ", text.casefold()).split()).rstrip(".!,")


def near_words(text: str, known: Mapping[str, str], most: int = 3) -> tuple[str, ...]:
    """The nearest names to a text, best first; `known` maps each spelling to the name that is offered."""
    import difflib

    wanted = plain_words(text)
    perhaps = spellings(tuple(known)).perhaps_like(wanted, NEAR)
    close = difflib.get_close_matches(wanted, perhaps, n=most * 3, cutoff=NEAR)
    found = sorted(close, key=lambda s: (-difflib.SequenceMatcher(None, s, wanted).ratio(), s))
    found += [s for s in known if len(wanted) >= 3 and f" {wanted}" in f" {s}"]
    return tuple(dict.fromkeys(known[s] for s in found))[:most]


@lru_cache(maxsize=1024)
def _offers(kind: type[Name], text: str) -> tuple[str, ...]:
    """The nearest word for each of a few names that a text may mean."""
    shown, means = _offered(kind)
    offers: dict[str, str] = {}
    for offer in near_words(text, shown, most=9):
        offers.setdefault(means[offer], offer)
    return tuple(offers.values())[:3]


@cache
def _offered(kind: type[Name]) -> tuple[Mapping[str, str], Mapping[str, str]]:
    """Every word for a kind of thing as it is offered, and the name that an offer means."""
    meaning = _meanings(kind)
    shown = {
        word: name if word == plain_words(name) else f"{word} ({name})" for word, name in meaning.items()
    }
    return shown, {offer: meaning[word] for word, offer in shown.items()}


@cache
def _meanings(kind: type[Name]) -> dict[str, str]:
    """Every word for a kind of thing, with the name it means."""
    return {plain_words(word): name for name, words in _WORDS[kind].items() for word in (name, *words)}


@cache
def _meanings_abroad(kind: type[Name]) -> dict[str, str]:
    """Whole words of other languages, with the name they mean."""
    listed = ((name, words) for name, words in _ABROAD.items() if isinstance(name, kind))
    return {plain_words(word): str(name.value) for name, words in listed for word in words.split(", ")}
