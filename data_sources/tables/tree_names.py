"""Which trees a cell of a notebook names, as a person would read it; shown, never guessed in silence."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import SequenceMatcher
from functools import cached_property, lru_cache
from itertools import count

from data_sources.tables.cells import read_once
from data_sources.tables.import_draft import Draft, species_named
from data_sources.tables.problems import SHOWN
from phenology.language.plain_names import name_key, plain_name
from phenology.language.tree_selection import Roster, select_trees
from phenology.mathematics.likeness import Spellings
from phenology.model.errors import InputError
from phenology.model.records import Tree
from phenology.species.catalogue import Species, find_species
from phenology.species.names import fitting_species

_AND = re.compile(r"\s*[,;&+/]\s*|\s+(?:and|und|et|y|e|en)\s+")
_DIGITS = re.compile(r"\d+")
ALIKE = 0.85
"""How much of two names must agree for one to be taken for a slip of the other (ours)."""


@dataclass
class TreeReader:
    """Finds the trees that cells name, and plans those that the garden lacks."""

    draft: Draft
    species: Mapping[str, str]  # of every cell that names trees, as names are compared: that beside it
    asked: bool  # whether the grower asked for trees that the garden lacks to be added

    def __post_init__(self) -> None:
        self.roster: Roster = self.draft.roster()
        self._of_words: dict[tuple[str, ...], list[Tree]] = defaultdict(list)
        self._of_numbers: dict[tuple[str, ...], Spellings] = defaultdict(Spellings)
        self._labels: dict[tuple[str, tuple[str, ...]], list[tuple[int, str]]] = {}
        self._entered = count()
        for tree in self.roster.trees:
            self._enter(tree)
        catalogue = self.draft.catalogue
        self._find_once = read_once(self._find)
        self._fitting = read_once(lambda words: fitting_species(words, catalogue))
        self._species_in = read_once(lambda words: species_in(words, catalogue))
        self._species_named = read_once(lambda text: species_named(text, catalogue))
        self._told = 0

    def _enter(self, tree: Tree) -> None:
        """A tree of the garden, or one that is to be, by the words and numbers of its label."""
        if tree.retired is None:
            self._of_words[_words(tree.label)].append(tree)
        words, numbers = key = _words_and_numbers(tree.label)
        if key not in self._labels:
            self._of_numbers[numbers].add(words)
        self._labels.setdefault(key, []).append((next(self._entered), tree.label))

    def read(self, text: str, on: date) -> tuple[Tree, ...]:
        """The trees of a cell, each text read once; where trees stand may differ from day to day.

        Raises `InputError` as `_find`.
        """
        labelled = self.roster.by_label.get(name_key(text))
        return self._find_once(text, date.min if labelled else on)

    def _find(self, text: str, on: date) -> tuple[Tree, ...]:
        """The trees that a text names on a day.

        Raises `InputError` if a tree is not known and may not be added, or could be a slip of another's name.
        """
        try:
            # of very many names that are not known only the first are told
            suggest = not self.asked and self._told < SHOWN
            return select_trees(text, self.roster, on=on, suggest=suggest)
        except InputError as error:
            unknown = error
        self._told += 1
        meant = self._meant(text)
        if meant is not None:
            self.draft.plan.warn(f"'{plain_name(text)}' is read as {meant.label}")
            return (meant,)
        pieces = [plain_name(piece) for piece in _AND.split(text) if piece.strip()]
        if len(pieces) > 1:
            known = all(name_key(piece) in self.species or self._labelled(piece) for piece in pieces)
            if not known:
                raise NewTreeError(
                    "is this one tree or several? Give each a row of its own, or add the one with: "
                    f'flushcast tree add "{plain_name(text)}" SPECIES'
                )
            return tuple(tree for piece in pieces for tree in self._find(piece, on))
        return (self._new(plain_name(text), str(unknown).rstrip(".")),)

    def _meant(self, text: str) -> Tree | None:
        """The one tree that a person would take the words for; None where none is, or the words are a label.

        The same words in another order; else, where no tree may be added by the name, words that begin words
        of the tree's label or species, such as "trident 2" or "A. palm.".

        Raises `SlipError` if several trees may be meant.
        """
        words = _words(text)
        same = self._of_words.get(words, ())
        if len(same) == 1:
            return same[0]
        if self.asked or not any(len(word) > 2 for word in words):
            return None
        numbers = {word for word in words if word.isdigit()}
        found = self._named_by(words)
        letters = " ".join(word for word in words if word not in numbers)
        species = self._fitting(letters) if letters and not found else []
        if len(species) == 1:  # in another language
            kin = [tree for tree in self.roster.active if tree.species == species[0].latin]
            found = [tree for tree in kin if numbers <= set(_words(tree.label))]
        if len(found) > 1:
            few = " or ".join(tree.label for tree in found[:4])
            raise SlipError(f"'{plain_name(text)}' may be {few}; write one of them")
        return found[0] if found else None

    def _named_by(self, words: Sequence[str]) -> list[Tree]:
        """Trees whose label or species has a word that begins with each of these, or each number itself."""
        fits: list[set[str]] = []
        for word in words:
            first, last = (bisect_left(self._words, end) for end in (word, f"{word}\uffff"))
            begun = [word] if word.isdigit() else self._words[first:last]
            fits.append({id for other in begun for id in self._by_word.get(other, ())})
            if not fits[-1]:
                return []
        found = set.intersection(*fits)
        return [tree for tree in self.roster.active if tree.id in found]

    @cached_property
    def _by_word(self) -> dict[str, list[str]]:
        """Ids of the trees by each word of their label and species."""
        by_word: dict[str, list[str]] = defaultdict(list)
        for tree in self.roster.active:
            known = self.draft.catalogue.get(tree.species)
            species = " ".join((tree.species, *(known.names if known else ())))
            for word in {*_words(tree.label), *_words(species)}:
                by_word[word].append(tree.id)
        return by_word

    @cached_property
    def _words(self) -> list[str]:
        return sorted(self._by_word)

    def _labelled(self, text: str) -> bool:
        return bool(self.roster.labelled(text))

    def _new(self, label: str, unknown: str) -> Tree:
        """The tree a row names but the garden lacks, added if the grower asked for that."""
        alike = self._alike(label)
        if alike:
            raise SlipError(
                f"there is no tree called '{label}', but {' and '.join(alike)} is much like it; write that, "
                f'or add another tree with: flushcast tree add "{label}" SPECIES'
            )
        latin, said = self._species(label, self.species.get(name_key(label), ""))
        if not self.asked:
            if latin:
                self.draft.plan.new_trees.setdefault(label, latin)
            raise NewTreeError(f"{unknown}; --new-trees adds trees that a file names")
        if not latin:
            raise InputError(f"{unknown}; to add it the row needs a species{said}")
        tree = Tree(self.draft.new_id(), label, latin)
        self.roster.add(tree, self.draft.add_tree(tree, None))
        self._enter(tree)
        self._find_once = read_once(self._find)  # what was not known may be now
        self.draft.plan.new_trees.setdefault(label, latin)
        return tree

    def _species(self, label: str, species: str) -> tuple[str, str]:
        """Latin name, from the species' cell or the tree's own name; empty where neither tells, and why."""
        if species:
            try:
                return self._species_named(species), ""
            except InputError as error:
                raise SpeciesError(str(error)) from None
        try:
            return self._species_in(" ".join(re.findall(r"[^\W\d_]+", label))), ""
        except InputError as error:
            return "", f": {error}"

    def _alike(self, label: str) -> list[str]:
        """Labels that differ by a slip; another number is another tree."""
        words, numbers = _words_and_numbers(label)
        match, found = SequenceMatcher(None, "", words), list[tuple[int, str]]()
        known = self._of_numbers.get(numbers, Spellings())
        for others in known.perhaps_like(words, ALIKE):
            match.set_seq1(others)
            if others != words and abs(len(words) - len(others)) <= 3 and match.ratio() >= ALIKE:
                found += self._labels[others, numbers]
        return [label for _, label in sorted(found)[:2]]


@lru_cache(maxsize=1 << 14)
def _words_and_numbers(label: str) -> tuple[str, tuple[str, ...]]:
    key = name_key(label)
    return _DIGITS.sub("", key).strip(), tuple(_DIGITS.findall(key))


@lru_cache(maxsize=1 << 14)
def _words(text: str) -> tuple[str, ...]:
    """The words and numbers of a name, as names are compared, in the order of the alphabet."""
    return tuple(sorted(re.findall(r"\d+|[^\W\d_]+", name_key(text))))


class NewTreeError(InputError):
    """A tree that the garden lacks, or may: the grower has to say."""

    about = "new_tree"


class SlipError(NewTreeError):
    """A name that is much like another."""

    about = "like_tree"


class SpeciesError(InputError):
    """A species that is not understood."""


def species_in(label: str, catalogue: Mapping[str, Species]) -> str:
    """The species that a tree's name holds: all of it but numbers, else one of its longer words.

    Raises `InputError` if none or several are in it.

    Examples
    --------
    >>> from phenology.species.catalogue import load_species
    >>> species_in("Trident big", load_species())
    'Acer buergerianum'
    """
    words = [word for word in re.findall(r"[^\W\d_]+", label) if len(word) > 3]
    try:
        return find_species(" ".join(re.findall(r"[^\W\d_]+", label)), catalogue).latin
    except InputError as error:
        first = error
    whole = {word: _with_word(word, catalogue) for word in words}
    found = (
        set.intersection(*(latins for latins in whole.values() if latins)) if any(whole.values()) else set()
    )
    if len(found) == 1:
        return found.pop()
    if len(found) > 1:
        raise InputError(f"it may be {' or '.join(sorted(found)[:4])}")
    raise first


def _with_word(word: str, catalogue: Mapping[str, Species]) -> set[str]:
    from phenology.species.names import plain

    wanted = plain(word)
    return {
        latin
        for latin, species in catalogue.items()
        if any(wanted in plain(name).split() for name in (latin, *species.names))
    }
