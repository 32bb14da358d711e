"""What a grower's words mean in a garden: which trees, the one tree, the species that grows here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from phenology.garden import Garden
from phenology.language.tree_selection import Roster, select_trees
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.records import Tree
from phenology.species.catalogue import Species, find_species, neutral_species


def trees_meant(garden: Garden, text: str) -> tuple[Tree, ...]:
    """The trees that are meant, where they stand on the garden's day."""
    names = {latin: species.names for latin, species in garden.species.items()}
    roster = Roster(garden.trees, garden.places, garden.stands, names)
    return select_trees(text, roster, on=garden.as_of)


def named_tree(garden: Garden, text: str) -> Tree:
    """The tree that is meant; raises `InputError` if it is none, or several."""
    chosen = trees_meant(garden, text)
    if len(chosen) != 1:
        raise InputError(f"'{text}' means {len(chosen)} trees; name one")
    return chosen[0]


def own_species(text: str, grown: Iterable[str], catalogue: Mapping[str, Species]) -> Species:
    """The species meant, of those `grown` here (by their Latin names) first, else of the whole catalogue."""
    here = {latin: catalogue.get(latin) or neutral_species(latin) for latin in grown}
    try:
        return find_species(text, here)
    except UnknownNameError:
        return find_species(text, catalogue)
