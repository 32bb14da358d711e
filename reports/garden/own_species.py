"""The species that a grower's word means: one that grows here before any other of the catalogue."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from phenology.model.errors import UnknownNameError
from phenology.species.catalogue import Species, find_species, neutral_species


def own_species(text: str, grown: Iterable[str], catalogue: Mapping[str, Species]) -> Species:
    """The species meant, of those `grown` here (by their Latin names) first, else of the whole catalogue."""
    here = {latin: catalogue.get(latin) or neutral_species(latin) for latin in grown}
    try:
        return find_species(text, here)
    except UnknownNameError:
        return find_species(text, catalogue)
