"""What to mind: with dates, blades, sap, ladders and bottles. Every page and command takes it from here.

Common practice, no source; on sap: from memory, unverified.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from phenology.model.operations import Operation
from phenology.species.catalogue import Species

LARGE = (Operation.PRUNING, Operation.THINNING, Operation.MOVING)

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


def cautions(operations: Iterable[str], species: Sequence[Species], trees: int = 1) -> Iterator[str]:
    """Cautions for a walk or a piece of work, a sentence each, most important first.

    Parameters
    ----------
    operations : iterable of str
        What may be done.
    species : sequence of Species
        On which trees.
    trees : int
        How many trees are worked on.
    """
    kinds = [Operation(name) for name in operations]
    if any(kind.cuts for kind in kinds):
        clean = "; clean the blades between trees" if trees > 1 else ""
        yield f"Look before you cut; clean, sharp blades; mind your eyes{clean}."
        sappy = {s.latin: s for s in species if s.sap_caution}
        for s in sorted(sappy.values(), key=lambda s: (s.sap != "severe", s.latin)):
            yield f"{s.latin}: {s.sap_caution[:1].lower()}{s.sap_caution[1:]}"
        yield from _wounds(species)
    minded = [kind for kind in dict.fromkeys(kinds) if kind.caution]
    for kind in minded:  # on a walk with several kinds of work each is named
        text = f"{kind.replace('-', ' ')}: {kind.caution}" if len(set(kinds)) > 1 else kind.caution
        yield f"{text[:1].upper()}{text[1:]}."
    if any(kind in LARGE for kind in kinds):
        yield "Ladders, saws and large material: with a second person, or by somebody licensed for it."
    if Operation.PEST_TREATMENT in kinds:
        yield "Chemicals by their label only, and where the law asks for a licence, by somebody who has one."


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
