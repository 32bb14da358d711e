"""Which trees are meant: "hornbeams", "Elm 2", "elms 1-3", "all but 7", "hornbeams on the bench", "same".

A label written out always wins. Else a word may be the beginning that labels share ("hornbeams" for
Hornbeam 1, Hornbeam 2, ...), a species by its Latin or common name, or a place; all trees that fit are
meant. Retired trees answer only to their label.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from typing import cast

from phenology.language.plain_names import name_key, plain_name, plain_spaces
from phenology.language.words import near_words, plain_words
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.records import Place, Stand, Tree

_SAME = {"same", "same as last time", "same as last", "last", "as last time", "same trees", "again"}
_ALL = {"all", "everything", "all trees", "every tree"}
_BUT = re.compile(r"\s+(?:but not|but|except for|except|without|not)\s+|\s+minus\s+")
_AND = re.compile(r"\s*[,;&+]\s*(?:and\s+)?|\s+and\s+")
_AT = re.compile(r"\s+(?:on|at|in)\s+")
# Between name and number stand spaces, a #, or both; written so that no run of them is read over and over.
_NUMBERED = re.compile(r"(?P<stem>.*\S)(?: +#?|#)(?P<from>\d{1,9})(?:\s*(?:-|–|to)\s*(?P<to>\d{1,9}))?")
_BARE_NUMBER = re.compile(r"#?(?P<from>\d{1,9})(?:\s*(?:-|–|to)\s*(?P<to>\d{1,9}))?")
_TAIL = re.compile(r"(?P<stem>.*\S)(?: +#?|#)(?P<number>\d{1,9})")


@dataclass(frozen=True)
class Roster:
    """What a selection is read against."""

    trees: Sequence[Tree]  # all trees, retired ones too
    places: Sequence[Place] = ()
    stands: Sequence[Stand] = ()  # where each tree stands from when
    # by Latin name, as far as the catalogue knows them
    common_names: Mapping[str, Sequence[str]] = field(default_factory=dict)
    last: Sequence[str] = ()  # ids of the trees of the newest look or work: what "same" means

    @cached_property
    def by_label(self) -> dict[str, list[Tree]]:
        """Trees by their label, as names are compared."""
        found: dict[str, list[Tree]] = {}
        for tree in self.trees:
            found.setdefault(name_key(tree.label), []).append(tree)
        return found

    @cached_property
    def by_id(self) -> dict[str, list[Tree]]:
        """Trees by their id."""
        return {tree.id: [tree] for tree in self.trees}

    @cached_property
    def active(self) -> list[Tree]:
        """Trees that are not retired."""
        return [tree for tree in self.trees if tree.retired is None]

    @cached_property
    def index(self) -> _Index:
        """Trees by the words and numbers they answer to."""
        index = _Index()
        for tree in self.trees:
            index.add(tree, self.species_names(tree.species))
        return index

    @cached_property
    def most_joints(self) -> int:
        """How many "and"s, commas and the like a label holds at most."""
        return max((len(_AND.findall(key)) for key in (*self.by_label, *self.by_id)), default=0)

    @cached_property
    def known_words(self) -> dict[str, str]:
        """Every spelling that a selection may use, with the name that is offered for it."""
        known: dict[str, str] = {}
        for latin in dict.fromkeys(tree.species for tree in self.trees):
            for name in sorted(self.species_names(latin)):
                known.setdefault(name, name)
        for tree in self.trees:
            known[plain_words(_label_stem(tree.label))] = _label_stem(tree.label)
            known[plain_words(tree.label)] = tree.label
        for place in self.places:
            known[plain_words(place.name)] = place.name
        return known

    def species_names(self, latin: str) -> frozenset[str]:
        """The names a species answers to: Latin, genus, common names and the last word of each."""
        if latin not in self._species_names:
            words = plain_words(latin).split()
            names = {" ".join(words), *words[:1]}
            for common in self.common_names.get(latin, ()):
                plain = plain_words(common)
                names |= {plain, plain.split()[-1]} if plain else set()
            self._species_names[latin] = frozenset(names)
        return self._species_names[latin]

    @cached_property
    def _species_names(self) -> dict[str, frozenset[str]]:
        return {}

    @cached_property
    def stands_of(self) -> dict[str, list[Stand]]:
        """Where each tree stands from when, by its id."""
        found: dict[str, list[Stand]] = defaultdict(list)
        for stand in self.stands:
            found[stand.tree_id].append(stand)
        return found

    def add(self, tree: Tree, stands: Sequence[Stand]) -> None:
        """Take in one tree more and where it stands; trees and stands must be lists of the roster's own."""
        labels, ids, active, index = self.by_label, self.by_id, self.active, self.index
        own, key = self.stands_of[tree.id], name_key(tree.label)
        self.__dict__["most_joints"] = max(self.most_joints, len(_AND.findall(key)))
        self.__dict__.pop("known_words", None)
        cast(list[Tree], self.trees).append(tree)
        cast(list[Stand], self.stands).extend(stands)
        own.extend(stands)
        labels.setdefault(key, []).append(tree)
        ids[tree.id] = [tree]
        active.append(tree)
        index.add(tree, self.species_names(tree.species))

    def labelled(self, text: str) -> tuple[Tree, ...]:
        """The tree that bears exactly this label, or this id; a retired one only where no other does.

        Raises
        ------
        InputError
            If several trees bear labels that look alike, as an older garden may have them.
        """
        alike = self.by_label.get(name_key(text)) or self.by_id.get(text, [])
        alike = [tree for tree in alike if tree.retired is None] or alike
        found = [tree for tree in alike if tree.label == text] or alike
        if len(found) > 1:
            raise InputError(
                f"{len(found)} trees are called '{plain_name(text)}'; "
                "give all but one another label by its id: "
                f'flushcast tree edit {found[-1].id} --label "{plain_name(text)} (2)"'
            )
        return tuple(found)


class _Index:
    """Trees by the words and numbers they answer to, kept as trees are added."""

    def __init__(self) -> None:
        self.active: set[str] = set()
        self.species: dict[str, None] = {}
        self.by_word: dict[str, set[str]] = defaultdict(set)
        self.by_number: dict[int, list[tuple[Tree, frozenset[str]]]] = defaultdict(list)

    def add(self, tree: Tree, species_names: frozenset[str]) -> None:
        """Take a tree in; a retired one by its number alone."""
        tail = _TAIL.fullmatch(tree.label)
        words = species_names | {plain_words(tail["stem"] if tail else tree.label)}
        if tail:
            self.by_number[int(tail["number"])].append((tree, words))
        if tree.retired is None:
            self.active.add(tree.id)
            self.species[tree.species] = None
            for word in (*words, plain_words(tree.label)):
                self.by_word[word].add(tree.id)


def place_of(tree_id: str, stands: Iterable[Stand], on: date) -> str | None:
    """Id of the place where a tree stands on a day: its latest move by then, else its first place."""
    own = sorted((s for s in stands if s.tree_id == tree_id), key=lambda s: s.from_date or date.min)
    by_then = [s for s in own if s.from_date is None or s.from_date <= on]
    return (by_then[-1] if by_then else own[0]).place_id if own else None


def select_trees(text: str, roster: Roster, *, on: date, suggest: bool = True) -> tuple[Tree, ...]:
    """The trees a grower means, in the order of `roster.trees`.

    Parameters
    ----------
    text : str
        As typed.
    on : date
        Day for which places are asked.
    suggest : bool
        Whether an error offers near matches, which takes a while where there are many trees.

    Raises
    ------
    UnknownNameError
        If a word fits no tree, species or place; near matches are offered.
    InputError
        If nothing is left, or a bare number fits several trees.

    Examples
    --------
    >>> roster = Roster([Tree(str(n), f"Elm {n}", "Ulmus parvifolia") for n in (1, 2, 3)])
    >>> [tree.label for tree in select_trees("elms but 2", roster, on=date(2026, 7, 4))]
    ['Elm 1', 'Elm 3']
    """
    if not roster.trees:
        raise InputError(
            'the garden has no trees yet; add one with: flushcast tree add "Elm 1" "Ulmus parvifolia"'
        )
    if exact := roster.labelled(text):
        return exact
    chosen = _SelectionReader(roster, on, suggest).read(plain_name(text))
    if not chosen:
        raise InputError(f"'{text}' leaves no tree")
    return tuple(tree for tree in roster.trees if tree.id in chosen)


def means_the_last(text: str) -> bool:
    """Whether a selection may speak of the trees of the last entry, as "same but 2" does."""
    return any(plain_words(piece) in _SAME for piece in _BUT.split(plain_spaces(text)))


def label_list(labels: Iterable[str]) -> str:
    """Labels with neighbours drawn together: "Elm 1-3, Elm 7, Old beech".

    >>> label_list(["Elm 1", "Elm 2", "Elm 3", "Elm 7", "Old beech"])
    'Elm 1-3, Elm 7, Old beech'
    """
    runs: list[tuple[str, int, int]] = []  # stem, first, last; a label without a number is a run of 0
    for label in labels:
        tail = _TAIL.fullmatch(label)
        if tail is None or str(int(tail["number"])) != tail["number"]:
            runs.append((label, 0, -1))
            continue
        stem, number = tail["stem"], int(tail["number"])
        if runs and runs[-1][0] == stem and runs[-1][2] == number - 1:
            runs[-1] = (stem, runs[-1][1], number)
        else:
            runs.append((stem, number, number))
    return ", ".join(
        stem
        if last < first
        else f"{stem} {first}-{last}"
        if last > first + 1
        else ", ".join(f"{stem} {n}" for n in range(first, last + 1))
        for stem, first, last in runs
    )


def few_labels(trees: Sequence[Tree]) -> str:
    """Trees by label as `label_list` has them; very many are counted."""
    text = label_list(tree.label for tree in trees)
    return text if len(text) <= 60 else f"{text[:57].rsplit(',', 1)[0]}, ... ({len(trees)} trees)"


def in_order(trees: Iterable[Tree]) -> list[Tree]:
    """Trees by label, numbers counted as numbers (Elm 2 before Elm 10)."""
    return sorted(trees, key=lambda tree: label_key(tree.label))


def label_key(label: str) -> list[tuple[int, int, str]]:
    """Key that sorts labels as a person would."""
    parts = re.split(r"([0-9]+)", label.casefold())
    numbers = [p.lstrip("0") for p in parts]  # as text: one with thousands of digits is a label too
    return [(0, len(numbers[i]), numbers[i]) if i % 2 else (1, 0, p) for i, p in enumerate(parts)]


class _SelectionReader:
    """Reads expressions, lists, terms and numbers; each method gives the ids of the trees meant."""

    def __init__(self, roster: Roster, on: date, suggest: bool = True) -> None:
        self.roster, self.on, self.suggest = roster, on, suggest
        self.active, self.species_names = roster.active, roster.species_names
        self._terms: dict[str, set[str]] = {}

    def read(self, text: str) -> set[str]:
        """An expression: a label, "A but B", "A, B and C", or one term."""
        if exact := self.labelled(text):
            return exact
        everything = self.roster.index.active
        if plain_words(text) in _ALL:
            return everything
        if plain_words(text) in _SAME:
            if not self.roster.last:
                raise InputError(
                    "there is no earlier look or work, so 'same as last time' means no tree; name the trees"
                )
            return {tree.id for tree in self.roster.trees if tree.id in set(self.roster.last)}
        pieces = _BUT.split(text, maxsplit=1)
        if len(pieces) == 2:
            base = self.read(pieces[0])
            return base - self.listed(pieces[1], within=base, stem=_stem(pieces[0]))
        return self.listed(text, within=everything, stem="")

    def listed(self, text: str, *, within: set[str], stem: str) -> set[str]:
        """A list "A, B and 3": a bare number takes the name before it."""
        chosen: set[str] = set()
        for item in self.items(text):
            number = _BARE_NUMBER.fullmatch(item)
            if number and not self.labelled(item):
                found = self.numbered(number, within, stem)
                if not found:
                    raise UnknownNameError("tree", f"{stem} {item}".strip(), self.near(item))
                if len(found) > 1 and not number["to"]:
                    names = label_list(t.label for t in self.roster.trees if t.id in found)
                    raise InputError(f"'{item}' may be {names}; write the name too")
                chosen |= found
                continue
            stem = _stem(item)
            chosen |= self.term(item)
        return chosen

    def items(self, text: str) -> list[str]:
        """The items of a list; a label that holds "and" or a comma stays whole."""
        ends = [(m.start(), m.end()) for m in _AND.finditer(text)] + [(len(text), len(text))]
        items, start, k = [], 0, 0
        while start < len(text):
            while ends[k][0] < start:
                k += 1
            open_ends = ends[k : k + 1 + self.roster.most_joints]
            whole = [pair for pair in open_ends if self.labelled(text[start : pair[0]])]
            stop, following = whole[-1] if whole else open_ends[0]
            items.append(text[start:stop])
            start = following
        return [item for item in items if item.strip()]

    def term(self, item: str) -> set[str]:
        """One label, stem of labels, species or place, perhaps with a number or "on PLACE" behind it."""
        if item not in self._terms:
            self._terms[item] = self._meant(item)
        return self._terms[item]

    def _meant(self, item: str) -> set[str]:
        if found := self.labelled(item) or self.matching(item):
            return found
        numbered = _NUMBERED.fullmatch(item)
        if numbered:
            found = self.numbered(numbered, self.roster.index.active, numbered["stem"])
            if found:
                return found
        pieces = _AT.split(item)
        if len(pieces) == 2 and (there := self.standing(pieces[1])):
            return there if plain_words(pieces[0]) in _ALL else there & self.read(pieces[0])
        if found := self.by_part_of_name(item):
            return found
        raise UnknownNameError("tree, species or place", item, self.near(item))

    def labelled(self, text: str) -> set[str]:
        return {tree.id for tree in self.roster.labelled(text)}

    def matching(self, item: str) -> set[str]:
        """Trees that fit a word as the stem of their label, their species or their place."""
        own = (self.roster.index.by_word.get(word, set()) for word in _singulars(item))
        return self.standing(item).union(*own)

    def by_part_of_name(self, item: str) -> set[str]:
        """Trees of the one species here that has these words in its name: "trident" for trident maple."""
        wanted = {f" {word} " for word in _singulars(item)}
        latins = []
        for species in self.roster.index.species:
            names = (species, *self.roster.common_names.get(species, ()))
            if any(word in f" {plain_words(name)} " for word in wanted for name in names):
                latins.append(species)
        if len(latins) > 1:
            raise InputError(f"'{item}' may be {' or '.join(latins)}; write more of the name")
        return {tree.id for tree in self.active if tree.species in latins} if latins else set()

    def standing(self, item: str) -> set[str]:
        words = plain_words(re.sub(r"^(?:(?:on|at|in) )?(?:(?:the|my) )*", "", plain_spaces(item)))
        places = {p.id for p in self.roster.places if words == plain_words(p.name)}
        if not places:
            return set()
        stands = self.roster.stands_of
        return {t.id for t in self.active if place_of(t.id, stands.get(t.id, ()), self.on) in places}

    def numbered(self, match: re.Match[str], within: set[str], stem: str) -> set[str]:
        """Trees whose label ends in a number from "from" to "to", of any name where `stem` is empty."""
        first, last = int(match["from"]), int(match["to"] or match["from"])
        if last < first:
            raise InputError(f"'{match[0]}' runs backwards")
        stems = _singulars(stem) if stem else set()
        known, wanted = self.roster.index.by_number, range(first, last + 1)
        return {
            tree.id
            for number in (wanted if len(wanted) < len(known) else known)
            if number in wanted
            for tree, words in known.get(number, ())
            if tree.id in within and (not stems or stems & words)
        }

    def near(self, item: str) -> tuple[str, ...]:
        return near_words(item, self.roster.known_words) if self.suggest else ()


def _stem(item: str) -> str:
    item = _AT.split(item)[0]
    numbered = _NUMBERED.fullmatch(item)
    return numbered["stem"] if numbered else ("" if plain_words(item) in _ALL | _SAME else item)


def _singulars(item: str) -> set[str]:
    """A word as it stands and without a plural ending: "elms", "birches", "cherries", "beech trees"."""
    word = re.sub(r"^(?:all )?(?:the |my )?", "", re.sub(r" trees?$", "", plain_words(item)))
    found = {word}
    if word.endswith("ies"):
        found.add(word[:-3] + "y")
    if word.endswith("es"):
        found.add(word[:-2])
    if word.endswith("s"):
        found.add(word[:-1])
    return found


def _label_stem(label: str) -> str:
    tail = _TAIL.fullmatch(label)
    return tail["stem"] if tail else label
