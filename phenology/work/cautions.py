"""What to mind with tools, sap, ladders and bottles.

Common practice, no source; on sap: from memory, unverified.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from phenology.model.operations import OPERATIONS
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
    cuts = any(OPERATIONS[name].cuts for name in operations)
    if cuts:
        clean = "; clean the blades between trees" if trees > 1 else ""
        yield f"Look before you cut; sharp, clean blades; mind your eyes{clean}."
        for latin, severe in _sap(species):
            yield (
                f"{latin}: its sap can cause a severe rash; gloves, covered arms, glasses, never burn it."
                if severe
                else f"{latin}: its sap irritates; gloves, and hands away from the eyes."
            )
        yield from _wounds(species)
    if any(name in ("pruning", "thinning", "moving") for name in operations):
        yield "Ladders, saws and large material: with a second person, or by somebody licensed for it."
    if "pest-treatment" in operations:
        yield "Chemicals by their label only, and where the law asks for a licence, by somebody who has one."


def _sap(species: Sequence[Species]) -> list[tuple[str, bool]]:
    return sorted(
        {(s.latin, s.sap == "severe") for s in species if s.sap != "none"}, key=lambda p: (not p[1], p[0])
    )


def _wounds(species: Sequence[Species]) -> Iterator[str]:
    """What wet weather lets in, each disease with the species that get it."""
    found: dict[tuple[tuple[str, ...], str], set[str]] = {}
    for s in species:
        for way in ("wet wounds", "wet leaves"):
            if diseases := s.lets_in(way):
                found.setdefault((diseases, way), set()).add(s.latin)
        if s.prone and not s.diseases:
            found.setdefault((("disease",), "wet wounds"), set()).add(s.latin)
    for (diseases, way), latins in found.items():
        comes = "comes in" if len(diseases) == 1 else "come in"
        yield f"{', '.join(sorted(latins))}: cut in a dry spell; {' and '.join(diseases)} {comes} by {way}."
    if any("fire-blight" in s.diseases for s in species):
        yield "Where plant health rules make fire blight notifiable, report it."
