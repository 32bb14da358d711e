"""The one tree of a garden that a few words mean."""

from __future__ import annotations

from phenology.garden import Garden
from phenology.language.tree_selection import Roster, select_trees
from phenology.model.errors import InputError
from phenology.model.records import Tree


def named_tree(garden: Garden, text: str) -> Tree:
    """The tree that is meant.

    Raises
    ------
    InputError
        If no tree is meant, or several are.
    """
    names = {latin: species.names for latin, species in garden.species.items()}
    roster = Roster(garden.trees, garden.places, garden.stands, names)
    chosen = select_trees(text, roster, on=garden.as_of)
    if len(chosen) != 1:
        raise InputError(f"'{text}' means {len(chosen)} trees; name one")
    return chosen[0]
