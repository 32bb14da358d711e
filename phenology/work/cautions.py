"""What to mind: with dates, blades, sap, ladders and bottles. Every page and command takes it from here.

Common practice, no source; on sap: from memory, unverified.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from phenology.model.operations import OPERATIONS
from phenology.species.catalogue import Species

LOOK_FIRST = "The forecast says when to look; the leaf decides."
ROUND_LOOKS_FIRST = "The round says what to look at; the leaf decides."
WINDOW_LOOKS_FIRST = "A window opens when the tree shows it, not when the date comes: look first."
CUT_FIRM = (
    "Cut only what is firm and springs back when pressed, with clean sharp blades; "
    "mind eyes and irritant sap."
)
BEFORE_A_CUT = (
    "A date is a reason to look, never a reason to cut.",
    CUT_FIRM,
    "Keep a fresh cut tree from hot sun and wind; water before you work.",
)
HALVE_AFTER = "Halve outer leaves after the cut."


def cautions(operations: Sequence[str], species: Sequence[Species], trees: int = 1) -> Iterator[str]:
    """Cautions for a walk or a piece of work, a sentence each, most important first.

    Parameters
    ----------
    operations : sequence of str
        What may be done.
    species : sequence of Species
        On which trees.
    trees : int
        How many trees are worked on.
    """
    if any(OPERATIONS[name].cuts for name in operations):
        clean = "; clean the blades between trees" if trees > 1 else ""
        yield f"Look before you cut; sharp, clean blades; mind your eyes{clean}."
        kinds = {s.latin: s for s in species if s.sap_caution}
        for s in sorted(kinds.values(), key=lambda s: (s.sap != "severe", s.latin)):
            yield f"{s.latin}: {s.sap_caution[:1].lower()}{s.sap_caution[1:]}"
        prone = sorted({s.latin for s in species if s.prone})
        if prone:
            yield (
                f"{', '.join(prone)}: cut in a dry spell; canker and fire blight enter wet wounds. Where "
                "plant health rules make a disease notifiable, report it."
            )
    if any(name in ("pruning", "thinning", "moving") for name in operations):
        yield "Ladders, saws and large material: with a second person, or by somebody licensed for it."
    if "pest-treatment" in operations:
        yield "Chemicals by their label only, and where the law asks for a licence, by somebody who has one."
