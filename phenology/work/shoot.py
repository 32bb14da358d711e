"""How far to cut a shoot: to which leaf, why, and what grows next. Common practice, no source.

Alternate leaves: two stay on average, a budless lowest one not counted; one where the second points up,
down or in and the first outward, or where internodes are long for the tree. Opposite leaves: usually one pair
stays, with both its buds or the better placed of the two. Never to a leaf without a bud. The bud at the last
leaf kept makes the next shoot, and it grows the way that leaf points; wire is for where neither leaf serves,
or where long internodes force the first although it points wrong.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from phenology.model.errors import InputError, UnknownNameError

DIRECTIONS = ("out", "left", "right", "up", "down", "in")
"""Best first, as a rule."""

WORDS = {
    "outward": "out",
    "outside": "out",
    "away": "out",
    "inward": "in",
    "inside": "in",
    "upward": "up",
    "top": "up",
    "downward": "down",
    "below": "down",
    "sideways": "left",
    "side": "left",
}
SPOKEN = {"out": "outward", "in": "inward", "up": "up", "down": "down", "left": "left", "right": "right"}
SERVES = ("out", "left", "right")
"""Ways in which a shoot lies in its branch's plane and into the light."""

LONG = 1.5  # an internode this many times the tree's usual one is long (ours)
LEAVES, PAIRS = (2, 2), (1, 1)
"""How many leaves, or pairs, stay where the species says nothing else."""

COUNTED = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")


@dataclass(frozen=True)
class Leaf:
    """One node of a shoot: a leaf, or a pair where leaves are opposite."""

    points: tuple[str, ...]  # which way the leaf points, or the two of a pair; see `DIRECTIONS`
    bud: bool = True  # whether a bud stands in its axil
    internode: float | None = None  # length of the stem below it. [mm]

    @property
    def serves(self) -> bool:
        """Whether a shoot from here would lie well: not up, down or inward; of a pair one is enough."""
        return any(way in SERVES for way in self.points)

    @property
    def best(self) -> str:
        """The way worth keeping, of a pair the better one."""
        return min(self.points, key=DIRECTIONS.index)


@dataclass(frozen=True)
class Cut:
    """Where to cut a shoot."""

    after: int  # number of the leaf (or pair) just below the cut, counted from the base, budless ones too
    kept: int  # leaves (or pairs) with a bud that stay
    points: str  # which way the next shoot grows
    why: tuple[str, ...]  # the reasons, a sentence each
    wire: str  # whether the next shoot needs wire, in a sentence
    next: str  # what grows next, in a sentence
    # which way the buds point that are kept at the last leaf or pair: both of a pair, or the better one
    buds: tuple[str, ...] = ()


def direction(text: str) -> str:
    """The direction meant by a word.

    Raises
    ------
    UnknownNameError

    Examples
    --------
    >>> direction("outward"), direction("U"), direction("in")
    ('out', 'up', 'in')
    """
    word = text.strip().casefold()
    found = [way for way in DIRECTIONS if word and way.startswith(word)]
    if word in WORDS:
        return WORDS[word]
    if len(found) == 1 or word in DIRECTIONS:
        return word if word in DIRECTIONS else found[0]
    raise UnknownNameError("direction", text, list(DIRECTIONS))


def described(text: str, *, opposite: bool = False) -> tuple[Leaf, ...]:
    """A shoot written out from its base: leaves apart by ";", each a direction, a length, "no bud".

    Parameters
    ----------
    text : str
        Such as "out no bud; left 8; out 10; in 14"; a pair is written "left+right 12". Lengths in mm.
    opposite : bool
        Leaves come in pairs; one direction then stands for a pair of that way and the other side.

    Raises
    ------
    InputError
        Naming the leaf that cannot be read.

    Examples
    --------
    >>> described("out no bud; in 14")
    (Leaf(points=('out',), bud=False, internode=None), Leaf(points=('in',), bud=True, internode=14.0))
    """
    leaves = []
    for number, part in enumerate(filter(None, (p.strip() for p in text.split(";"))), start=1):
        words = part.casefold().replace("budless", "no bud").replace("nobud", "no bud").split()
        bud = not any(words[k : k + 2] == ["no", "bud"] for k in range(len(words)))
        words = [w for w in words if w not in ("no", "bud")]
        length: float | None = None
        ways: tuple[str, ...] = ()
        try:
            for word in words:
                if word.removesuffix("mm").replace(".", "", 1).isdigit():
                    length = float(word.removesuffix("mm"))
                else:
                    ways = tuple(direction(way) for way in word.split("+"))
        except UnknownNameError as error:
            raise InputError(f"leaf {number}, '{part}': {error}") from None
        if not 1 <= len(ways) <= 2:
            raise InputError(
                f"leaf {number}, '{part}', needs a direction: one of {', '.join(DIRECTIONS)}, and for a "
                "length millimetres"
            )
        leaves.append(Leaf(_pair(ways) if opposite else ways, bud, length))
    if not leaves:
        raise InputError('describe the leaves from the base on, such as "out no bud; left 8; out 10"')
    return tuple(leaves)


def asked(budless_first: bool, first: str, second: str, *, opposite: bool = False) -> tuple[Leaf, ...]:
    """A shoot told by three answers: is the lowest leaf budless, and which way do the two above it point."""
    ways = [_pair((direction(w),)) if opposite else (direction(w),) for w in (first, second)]
    lowest = (Leaf(("out",), bud=False),) if budless_first else ()
    return (*lowest, *(Leaf(way) for way in ways))


_OTHER_SIDE = {"left": "right", "right": "left", "up": "down", "down": "up", "out": "in", "in": "out"}


def _pair(ways: tuple[str, ...]) -> tuple[str, ...]:
    return ways if len(ways) == 2 else (ways[0], _OTHER_SIDE[ways[0]])


def how_far(
    leaves: Sequence[Leaf],
    *,
    long_internodes: bool = False,
    usual_mm: float | None = None,
    keeps: tuple[int, int] | None = None,
) -> Cut:
    """Where to cut a shoot.

    Parameters
    ----------
    leaves : sequence of Leaf
        From the base on.
    long_internodes : bool
        Internodes are long for this tree.
    usual_mm : float, optional
        The tree's usual internode, to tell that from the lengths. [mm]
    keeps : (int, int), optional
        Leaves, or pairs, that a cut keeps, low and high, as the species has it; by default two leaves or
        one pair.

    Raises
    ------
    InputError
        If no leaf has a bud: then nothing would grow from what is left.

    Examples
    --------
    >>> cut = how_far(described("out no bud; left; out; in"))
    >>> cut.after, cut.kept, cut.points
    (3, 2, 'out')
    >>> how_far(described("out; up")).after, how_far(described("left+right; left+right")).after
    (1, 1)
    """
    usable = [k for k, leaf in enumerate(leaves) if leaf.bud]
    if not usable:
        raise InputError(
            "no leaf of this shoot has a bud; do not cut it, nothing would grow from what is left"
        )
    paired = len(leaves[usable[0]].points) == 2
    noun = "pair" if paired else "leaf"
    why = [] if leaves[0].bud else [f"The lowest {noun} has no bud and does not count."]
    low, high = keeps or (PAIRS if paired else LEAVES)
    long = long_internodes or _long(leaves, usable[: max(2, high)], usual_mm)
    kept, reason = _choose([leaves[k] for k in usable], low, high, long, noun)
    chosen = usable[kept - 1]
    buds = _buds(leaves[chosen])
    points = leaves[chosen].best
    return Cut(chosen + 1, kept, points, (*why, reason), _wire(points), _next(buds, chosen + 1, noun), buds)


def _choose(leaves: Sequence[Leaf], low: int, high: int, long: bool, noun: str) -> tuple[int, str]:
    """How many leaves with a bud stay, and why."""
    least = max(1, min(low, high - 1))
    if long and high > 1:
        kept = min(least, len(leaves))
        wrong = (
            "" if leaves[kept - 1].serves else ", although it points the wrong way: wire will turn what grows"
        )
        return (
            kept,
            f"Internodes are long for this tree, so the cut goes back to {_so_many(kept, noun)}{wrong}.",
        )
    if len(leaves) < high:
        few = len(leaves)
        return few, f"Only {_so_many(few, noun)} {'has' if few == 1 else 'have'} a bud."
    if leaves[high - 1].serves:
        usual = f"{_so_many(high, noun)} {'stays' if high == 1 else 'stay'}"
        return high, f"{usual[:1].upper()}{usual[1:]}, the usual length."
    ways = " and ".join(SPOKEN[way] for way in leaves[high - 1].points)
    wrong = f"The {_ordinal(high)} {noun} points {ways}"
    for kept in range(high - 1, least - 1, -1):
        if leaves[kept - 1].serves:
            return kept, f"{wrong}, so the cut goes back to the {_ordinal(kept)}."
    if noun == "pair" and len(leaves) > high and leaves[high].serves:
        return high + 1, f"{wrong}, so the cut goes on to the {_ordinal(high + 1)}, which lies flat."
    kept = min(range(least, high + 1), key=lambda k: (DIRECTIONS.index(leaves[k - 1].best), k))
    others = f", and no other serves: cut to {_so_many(kept, noun)}, and wire what grows."
    return kept, wrong + others


def _so_many(count: int, noun: str) -> str:
    many = noun if count == 1 else {"leaf": "leaves", "pair": "pairs"}[noun]
    return f"{COUNTED[count] if count < len(COUNTED) else count} {many}"


def _ordinal(count: int) -> str:
    names = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")
    return names[count - 1] if count <= len(names) else f"{count}th"


def _long(leaves: Sequence[Leaf], counted: Sequence[int], usual_mm: float | None) -> bool:
    """Whether the internode below the second leaf, or below any that would stay, is long."""
    lengths = [leaves[k].internode for k in counted[1:]]
    return bool(usual_mm) and any(mm is not None and usual_mm and mm > LONG * usual_mm for mm in lengths)


def _wire(points: str) -> str:
    if points in SERVES:
        return "The next shoot needs no wire to begin with."
    if points == "up":
        return (
            "The next shoot will rise and grow strong: wire it down while it is soft, or cut it again soon."
        )
    if points == "down":
        return "The next shoot will hang and grow weak: wire it level, with light on it."
    return "The next shoot will grow inward: turn it outward with wire while it is soft."


def _buds(leaf: Leaf) -> tuple[str, ...]:
    """The ways of the buds that are kept: both where both lie well, else the better one."""
    good = tuple(way for way in leaf.points if way in SERVES)
    return good if len(good) == 2 else (leaf.best,)


def _next(buds: tuple[str, ...], number: int, noun: str) -> str:
    if noun == "leaf":
        return f"The bud of leaf {number} opens in two to five weeks and grows {SPOKEN[buds[0]]}."
    opens = f"Both buds of pair {number} open in two to five weeks"
    if len(buds) == 2:
        return f"{opens}; both are kept and make a fork, {buds[0]} and {buds[1]}."
    return f"{opens}; keep the one that points {SPOKEN[buds[0]]}, and rub off the other."
