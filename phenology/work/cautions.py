"""What to mind with tools, sap, ladders and bottles.

Common practice, no source; on sap: from memory, unverified.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from phenology.model.operations import Operation
from phenology.species.catalogue import Species


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
    cuts = any(Operation(name).cuts for name in operations)
    if cuts:
        clean = "; clean the blades between trees" if trees > 1 else ""
        yield f"Look before you cut; sharp, clean blades; mind your eyes{clean}."
        for latin, severe in _sap(species):
            yield (
                f"{latin}: its sap can cause a severe rash; gloves, covered arms, glasses, never burn it."
                if severe
                else f"{latin}: its sap irritates; gloves, and hands away from the eyes."
            )
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


def _sap(species: Sequence[Species]) -> list[tuple[str, bool]]:
    return sorted(
        {(s.latin, s.sap == "severe") for s in species if s.sap != "none"}, key=lambda p: (not p[1], p[0])
    )
