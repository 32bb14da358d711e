"""What a worked tree needs in the weeks after, dated from the work. Common practice, no source."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from typing import NamedTuple

from phenology.model.records import Tree, Work
from phenology.species.catalogue import Species
from phenology.work.rule import DEFOLIATION, TRADE, WAKING
from phenology.work.zones import read_vigour

SHADE_DAYS = (7, 14)
PEST_CHECKS = (7, 14)
BUDS_MOVE = (14, 28)
LATE_DAYS = 84  # about as long as late growth takes to harden in the cool of autumn (ours)
LONGEST_DAYS = LATE_DAYS
"""No care lasts longer after work. [days]"""


class Care(NamedTuple):
    """One thing to do or look for after work."""

    name: str
    # first and last: from when to when; equal for one day
    first: date
    last: date
    sentence: str
    # whether it is a look worth a place on the round, rather than a way of keeping the tree
    look: bool = False
    provenance: str = TRADE


def aftercare(work: Work, tree: Tree, species: Species, aim: str, *, late: bool = False) -> tuple[Care, ...]:
    """The care that a piece of work asks for, by date.

    Parameters
    ----------
    work : Work
    tree : Tree
    species : Species
    aim : str
        What the tree is grown towards.
    late : bool
        Growth that the work woke may meet frost before it is hard: it is sheltered, and not fed.
    """
    return tuple(sorted(_all(work, tree, species, aim, late), key=lambda c: (c.first, c.last, c.name)))


def _all(work: Work, tree: Tree, species: Species, aim: str, late: bool) -> Iterator[Care]:
    day, done = work.middle, work.operation

    def after(first: int, last: int) -> tuple[date, date]:
        return day + timedelta(days=first), day + timedelta(days=last)

    if done in DEFOLIATION:
        yield Care(
            "shade", *after(0, SHADE_DAYS[1]),
            "bright shade and shelter for 7 to 14 days: inner leaves used to shade scorch when bared",
        )  # fmt: skip
        yield Care(
            "water", *after(0, BUDS_MOVE[1]),
            "water only as the pot dries: with half the leaf it drinks far less",
        )  # fmt: skip
    elif done in ("cutback", "halving"):
        yield Care("shade", *after(0, SHADE_DAYS[0]), "bright shade and shelter for a week")
        yield Care(
            "water", *after(0, BUDS_MOVE[0]), "water as the pot dries: less leaf drinks less"
        )  # fmt: skip
    elif done == "repotting":
        yield Care(
            "shelter", *after(0, 28), "out of wind and hard sun, no feed, and no cuts until it grows strongly"
        )
    if done in WAKING or done == "halving":
        for wait in PEST_CHECKS:
            yield Care("pests", *after(wait, wait + 3), "aphids, mites and mildew on soft growth", look=True)
    if done in WAKING:
        yield Care(
            "buds",
            *after(*BUDS_MOVE),
            "buds moving in the axils; none after four weeks: no more work on it this season",
            look=True,
        )
        if late:
            yield Care("no feed", *after(0, LATE_DAYS), "no feed: it keeps late growth soft when frost comes")
            yield Care(
                "late frost", *after(BUDS_MOVE[0], LATE_DAYS), "soft growth under cover on frosty nights"
            )
        else:
            yield Care("feed", *after(*_feeding(aim, done)), _feed(tree, species, aim))
    if done == "pest-treatment":
        yield Care("again", *after(7, 10), "whether the pest is gone; repeat only by the label", look=True)


def _feeding(aim: str, operation: str) -> tuple[int, int]:
    return (0, 42) if aim == "building" else (14, 42) if operation in DEFOLIATION else (7, 42)


def _feed(tree: Tree, species: Species, aim: str) -> str:
    if read_vigour(tree.vigour).whole == "weak":
        return "feed lightly, and only once it grows: roots of a weak tree burn"
    if aim == "building":
        return "feed freely as buds move: it is to gain strength"
    if species.grown_for != "leaf" or tree.grown_for in ("flower", "fruit"):
        return "feed sparingly with nitrogen, so that flower buds set"
    return "feed lightly once buds move: strong feed makes long internodes"


def due(cares: Iterable[Care], day: date) -> list[Care]:
    """The care that holds on a day."""
    return [care for care in cares if care.first <= day <= care.last]
