"""Which trees are meant: "hornbeams", "Elm 2", "elms 1-3", "all but 7", "hornbeams on the bench", "same".

A label written out always wins. Else a word may be the beginning that labels share ("hornbeams" for
Hornbeam 1, Hornbeam 2, ...), a species by its Latin or common name, or a place; all trees that fit are
meant. Retired trees answer only to their label.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property

from phenology.language.words import near_words, plain_words
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.records import Place, Stand, Tree

_SAME = {"same", "same as last time", "same as last", "last", "as last time", "same trees", "again"}
_ALL = {"all", "everything", "all trees", "every tree"}
_BUT = re.compile(r"\s+(?:but not|but|except for|except|without|not)\s+|\s+minus\s+")
_AND = re.compile(r"\s*[,;&+]\s*(?:and\s+)?|\s+and\s+")
_AT = re.compile(r"\s+(?:on|at|in)\s+")
_NUMBERED = re.compile(r"(?P<stem>.*\S)[ #]+(?P<from>\d+)(?:\s*(?:-|–|to)\s*(?P<to>\d+))?")
_BARE_NUMBER = re.compile(r"#?(?P<from>\d+)(?:\s*(?:-|–|to)\s*(?P<to>\d+))?")
_TAIL = re.compile(r"(?P<stem>.*\S)[ #]+(?P<number>\d+)")


@dataclass(frozen=True)
class Roster:
    """What a selection is read against.

    Parameters
    ----------
    trees : sequence of Tree
        All trees, retired ones too.
    places : sequence of Place
    stands : sequence of Stand
        Where each tree stands from when.
    common_names : mapping of str to sequence of str
        Common names by Latin name, as far as the catalogue knows them.
    last : sequence of str
        Ids of the trees of the newest look or work: what "same" means.
    """

    trees: Sequence[Tree]
    places: Sequence[Place] = ()
    stands: Sequence[Stand] = ()
    common_names: Mapping[str, Sequence[str]] = field(default_factory=dict)
    last: Sequence[str] = ()

    @cached_property
    def by_label(self) -> dict[str, list[Tree]]:
        """Trees by their label, written small."""
        found: dict[str, list[Tree]] = {}
        for tree in self.trees:
            found.setdefault(plain_spaces(tree.label).casefold(), []).append(tree)
        return found


def place_of(tree_id: str, stands: Iterable[Stand], on: date) -> str | None:
    """Id of the place where a tree stands on a day: its latest move by then, else its first place."""
    own = sorted((s for s in stands if s.tree_id == tree_id), key=lambda s: s.from_date or date.min)
    by_then = [s for s in own if s.from_date is None or s.from_date <= on]
    return (by_then[-1] if by_then else own[0]).place_id if own else None


def select_trees(text: str, roster: Roster, *, on: date) -> tuple[Tree, ...]:
    """The trees a grower means, in the order of `roster.trees`.

    Parameters
    ----------
    text : str
        As typed.
    roster : Roster
    on : date
        Day for which places are asked.

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
    chosen = _read(plain_spaces(text), roster, on)
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
    runs: list[tuple[str, int, int] | str] = []
    for label in labels:
        tail = _TAIL.fullmatch(label)
        if tail is None or str(int(tail["number"])) != tail["number"]:
            runs.append(label)
            continue
        stem, number = tail["stem"], int(tail["number"])
        before = runs[-1] if runs else None
        if isinstance(before, tuple) and before[0] == stem and before[2] == number - 1:
            runs[-1] = (stem, before[1], number)
        else:
            runs.append((stem, number, number))
    return ", ".join(_run(run) for run in runs)


def in_order(trees: Iterable[Tree]) -> list[Tree]:
    """Trees by label, numbers counted as numbers (Elm 2 before Elm 10)."""
    return sorted(trees, key=lambda tree: label_key(tree.label))


def label_key(label: str) -> list[tuple[int, int, str]]:
    """Key that sorts labels as a person would."""
    parts = re.split(r"([0-9]+)", label.casefold())
    return [(0, int(p), "") if i % 2 else (1, 0, p) for i, p in enumerate(parts)]


def plain_spaces(text: str) -> str:
    """Text with single spaces and none at its ends."""
    return " ".join(text.split())


def _run(run: tuple[str, int, int] | str) -> str:
    if isinstance(run, str):
        return run
    stem, first, last = run
    if last - first == 1:
        return f"{stem} {first}, {stem} {last}"
    return f"{stem} {first}" if first == last else f"{stem} {first}-{last}"


def _read(text: str, roster: Roster, on: date) -> set[str]:
    """Ids of the trees meant by an expression: a label, "A but B", "A, B and C", or one term."""
    exact = _labelled(text, roster)
    if exact:
        return exact
    active = {tree.id for tree in roster.trees if tree.retired is None}
    if plain_words(text) in _ALL:
        return active
    if plain_words(text) in _SAME:
        if not roster.last:
            raise InputError(
                "there is no earlier look or work, so 'same as last time' means no tree; name the trees"
            )
        return {tree.id for tree in roster.trees if tree.id in set(roster.last)}
    pieces = _BUT.split(text, maxsplit=1)
    if len(pieces) == 2:
        base = _read(pieces[0], roster, on)
        return base - _list(pieces[1], roster, on, within=base, stem=_stem(pieces[0]))
    return _list(text, roster, on, within=active, stem="")


def _list(text: str, roster: Roster, on: date, *, within: set[str], stem: str) -> set[str]:
    """Ids meant by "A, B and 3": a bare number takes the name before it."""
    chosen: set[str] = set()
    for item in _items(text, roster):
        number = _BARE_NUMBER.fullmatch(item)
        if number and not _labelled(item, roster):
            found = _by_number(number, roster, within, stem)
            if not found:
                raise UnknownNameError("tree", f"{stem} {item}".strip(), _near(item, roster))
            if len(found) > 1 and not number["to"]:
                names = label_list(t.label for t in roster.trees if t.id in found)
                raise InputError(f"'{item}' may be {names}; write the name too")
            chosen |= found
            continue
        stem = _stem(item)
        chosen |= _term(item, roster, on)
    return chosen


def _items(text: str, roster: Roster) -> list[str]:
    """The items of a list; a label that holds "and" or a comma stays whole."""
    ends = [(m.start(), m.end()) for m in _AND.finditer(text)] + [(len(text), len(text))]
    items, start = [], 0
    while start < len(text):
        open_ends = [pair for pair in ends if pair[0] >= start]
        whole = [pair for pair in open_ends if _labelled(text[start : pair[0]], roster)]
        stop, following = whole[-1] if whole else open_ends[0]
        items.append(text[start:stop])
        start = following
    return [item for item in items if item.strip()]


def _stem(item: str) -> str:
    item = _AT.split(item)[0]
    numbered = _NUMBERED.fullmatch(item)
    return numbered["stem"] if numbered else ("" if plain_words(item) in _ALL | _SAME else item)


def _term(item: str, roster: Roster, on: date) -> set[str]:
    exact = _labelled(item, roster)
    if exact:
        return exact
    active = [tree for tree in roster.trees if tree.retired is None]
    found = _matching(item, active, roster, on)
    if found:
        return found
    numbered = _NUMBERED.fullmatch(item)
    if numbered:
        found = _by_number(numbered, roster, {t.id for t in active}, numbered["stem"])
        if found:
            return found
    pieces = _AT.split(item)
    if len(pieces) == 2:
        stands = _standing(pieces[1], active, roster, on)
        if stands:
            return stands & (_read(pieces[0], roster, on) if plain_words(pieces[0]) not in _ALL else stands)
    found = _by_part_of_name(item, active, roster)
    if found:
        return found
    raise UnknownNameError("tree, species or place", item, _near(item, roster))


def _matching(item: str, active: Sequence[Tree], roster: Roster, on: date) -> set[str]:
    """Trees that fit a word as the stem of their label, their species or their place."""
    wanted = _singulars(item)
    found = {t.id for t in active if wanted & {plain_words(_label_stem(t.label)), plain_words(t.label)}}
    found |= {t.id for t in active if wanted & _species_names(t.species, roster)}
    return found | _standing(item, active, roster, on)


def _by_part_of_name(item: str, active: Sequence[Tree], roster: Roster) -> set[str]:
    """Trees of the one species here that has these words in its name: "trident" for trident maple."""
    wanted = {f" {word} " for word in _singulars(item)}
    latins: dict[str, None] = {}
    for tree in active:
        names = [
            f" {plain_words(name)} " for name in (tree.species, *roster.common_names.get(tree.species, ()))
        ]
        if any(word in name for word in wanted for name in names):
            latins[tree.species] = None
    if len(latins) > 1:
        raise InputError(f"'{item}' may be {' or '.join(latins)}; write more of the name")
    return {tree.id for tree in active if tree.species in latins}


def _standing(item: str, active: Sequence[Tree], roster: Roster, on: date) -> set[str]:
    words = plain_words(re.sub(r"^(?:on|at|in) ", "", re.sub(r"^(?:the|my) ", "", plain_spaces(item))))
    words = re.sub(r"^(?:the|my) ", "", words)
    places = {p.id for p in roster.places if words == plain_words(p.name)}
    return {t.id for t in active if place_of(t.id, roster.stands, on) in places} if places else set()


def _species_names(latin: str, roster: Roster) -> set[str]:
    """The names a species answers to: Latin, genus, common names and the last word of each."""
    words = plain_words(latin).split()
    names = {" ".join(words), *words[:1]}
    for common in roster.common_names.get(latin, ()):
        plain = plain_words(common)
        names |= {plain, plain.split()[-1]} if plain else set()
    return names


def _singulars(item: str) -> set[str]:
    """A word as it stands and without a plural ending: "elms", "birches", "cherries", "beech trees"."""
    word = re.sub(r" trees?$", "", plain_words(item))
    word = re.sub(r"^(?:all )?(?:the |my )?", "", word)
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


def _labelled(text: str, roster: Roster) -> set[str]:
    exact = roster.by_label.get(plain_spaces(text).casefold(), [])
    live = [t for t in exact if t.retired is None]
    return {t.id for t in live or exact}


def _by_number(match: re.Match[str], roster: Roster, within: set[str], stem: str) -> set[str]:
    first = int(match["from"])
    last = int(match["to"] or first)
    if last < first:
        raise InputError(f"'{match[0]}' runs backwards")
    stems = _singulars(stem) if stem else set()
    found = set()
    for tree in roster.trees:
        tail = _TAIL.fullmatch(tree.label)
        if tail is None or tree.id not in within or not first <= int(tail["number"]) <= last:
            continue
        if not stems or stems & ({plain_words(tail["stem"])} | _species_names(tree.species, roster)):
            found.add(tree.id)
    return found


def _near(item: str, roster: Roster) -> tuple[str, ...]:
    known: dict[str, str] = {}
    for tree in roster.trees:
        for name in _species_names(tree.species, roster):
            known.setdefault(name, name)
        known[plain_words(_label_stem(tree.label))] = _label_stem(tree.label)
        known[plain_words(tree.label)] = tree.label
    for place in roster.places:
        known[plain_words(place.name)] = place.name
    return near_words(item, known)
