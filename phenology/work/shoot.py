"""How far to cut a shoot: to which leaf, why, and what grows next. Common practice, no source.

Two leaves are kept on average, a budless lowest one not counted; one where the second points the wrong way or
internodes are long for the tree. Never to a leaf without a bud, never to an inward one while an outward one
serves. The bud at the last leaf kept makes the next shoot, and it grows the way that leaf points.
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
LONG = 1.5  # an internode this many times the tree's usual one is long (ours)
KEEP = 2


@dataclass(frozen=True)
class Leaf:
    """One node of a shoot: a leaf, or a pair where leaves are opposite.

    Attributes
    ----------
    points : tuple of str
        Which way the leaf points, or the two of a pair; see `DIRECTIONS`.
    bud : bool
        Whether a bud stands in its axil.
    internode : float or None
        Length of the stem below it. [mm]
    """

    points: tuple[str, ...]
    bud: bool = True
    internode: float | None = None

    @property
    def good(self) -> bool:
        """Whether a shoot from here would not grow inward."""
        return any(way != "in" for way in self.points)

    @property
    def best(self) -> str:
        """The way worth keeping, of a pair the better one."""
        return min(self.points, key=DIRECTIONS.index)


@dataclass(frozen=True)
class Cut:
    """Where to cut a shoot.

    Attributes
    ----------
    after : int
        Number of the leaf (or pair) just below the cut, counted from the base, budless ones too.
    kept : int
        Leaves (or pairs) with a bud that stay.
    points : str
        Which way the next shoot grows.
    why : tuple of str
        The reasons, a sentence each.
    wire : str
        Whether the next shoot needs wire, in a sentence.
    next : str
        What grows next, in a sentence.
    """

    after: int
    kept: int
    points: str
    why: tuple[str, ...]
    wire: str
    next: str


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


def how_far(leaves: Sequence[Leaf], *, long_internodes: bool = False, usual_mm: float | None = None) -> Cut:
    """Where to cut a shoot.

    Parameters
    ----------
    leaves : sequence of Leaf
        From the base on.
    long_internodes : bool
        Internodes are long for this tree.
    usual_mm : float, optional
        The tree's usual internode, to tell that from the lengths. [mm]

    Raises
    ------
    InputError
        If no leaf has a bud: then nothing would grow from what is left.

    Examples
    --------
    >>> cut = how_far(described("out no bud; left; out; in"))
    >>> cut.after, cut.kept, cut.points
    (3, 2, 'out')
    """
    usable = [k for k, leaf in enumerate(leaves) if leaf.bud]
    if not usable:
        raise InputError(
            "no leaf of this shoot has a bud; do not cut it, nothing would grow from what is left"
        )
    noun = "pair" if len(leaves[usable[0]].points) == 2 else "leaf"
    why = []
    if not leaves[0].bud:
        why.append(f"The lowest {noun} has no bud and does not count.")
    first = usable[0]
    second = usable[1] if len(usable) > 1 else None
    long = long_internodes or _long(leaves, second, usual_mm)
    chosen = second if second is not None else first
    if second is None:
        why.append(f"Only one {noun} has a bud.")
    elif not leaves[second].good and leaves[first].good:
        chosen = first
        why.append(f"The second {noun} points inward, so the cut goes back to the first.")
    elif _upright(leaves[second]) and not _upright(leaves[first]):
        chosen = first
        why.append("The second pair points up and down, so the cut goes back to the first, which lies flat.")
    elif long and leaves[first].good:
        chosen = first
        why.append("Internodes are long for this tree, so the cut goes back to one.")
    elif long and leaves[second].good:
        why.append(f"Internodes are long, but the first {noun} points inward: the second serves.")
    elif not leaves[first].good and not leaves[second].good:
        outward = next((k for k in usable[2:] if leaves[k].good), None)
        chosen = first if outward is None else outward
        why.append(
            f"Both of the first two point inward; no other serves, so the cut goes back to one {noun}."
            if outward is None
            else f"The first two point inward, so the cut goes on to {noun} {outward + 1}, which does not."
        )
    else:
        why.append(f"Two {'pairs' if noun == 'pair' else 'leaves'} stay, the usual length.")
    points = leaves[chosen].best
    return Cut(
        chosen + 1,
        sum(1 for k in usable if k <= chosen),
        points,
        tuple(why),
        _wire(points),
        _next(leaves[chosen], chosen + 1, noun),
    )


def _upright(leaf: Leaf) -> bool:
    """Whether a pair points up and down: neither of its shoots would lie in the branch's plane."""
    return set(leaf.points) == {"up", "down"}


def _long(leaves: Sequence[Leaf], second: int | None, usual_mm: float | None) -> bool:
    length = leaves[second].internode if second is not None else None
    return bool(usual_mm and length is not None and length > LONG * usual_mm)


def _wire(points: str) -> str:
    if points in ("out", "left", "right"):
        return "The next shoot needs no wire to begin with."
    if points == "up":
        return (
            "The next shoot will rise and grow strong: wire it down while it is soft, or cut it again soon."
        )
    if points == "down":
        return "The next shoot will hang and grow weak: wire it level, with light on it."
    return "The next shoot will grow inward: turn it outward with wire while it is soft."


def _next(leaf: Leaf, number: int, noun: str) -> str:
    if noun == "leaf":
        return f"The bud of leaf {number} opens in two to five weeks and grows {SPOKEN[leaf.best]}."
    other = next((way for way in leaf.points if way != leaf.best), leaf.best)
    if "in" in leaf.points or {"up", "down"} & set(leaf.points):
        return (
            f"Both buds of pair {number} open in two to five weeks; rub off the one that points "
            f"{SPOKEN[other]}, and keep the one that points {SPOKEN[leaf.best]}."
        )
    return (
        f"Both buds of pair {number} open in two to five weeks and make a fork, {leaf.points[0]} and "
        f"{leaf.points[1]}."
    )
