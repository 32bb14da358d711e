"""Which species is meant by what somebody typed: Latin or common name, part of either, singular or plural."""

from __future__ import annotations

import pkgutil
import tomllib
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

from phenology.mathematics.likeness import spellings
from phenology.model.errors import InputError, UnknownNameError
from phenology.species.species import Species

SHOWN = 8
"""Most species listed when several fit."""

LIKE = 0.75
"""How much of a mistyped name must agree for a known one to be offered (ours)."""

MISSPELT = 0.87
"""How much must agree for a new Latin name to be taken for a misspelt known one (ours)."""


def find_species(text: str, catalogue: Mapping[str, Species]) -> Species:
    """Find a species by its Latin or common name, or a part of either.

    A whole name beats whole words, whole words beat beginnings ("A. palmatum"), and those beat any other
    part; a whole name in German, French, Spanish, Italian or Dutch is known; a Latin name followed by a
    cultivar's ("Acer palmatum 'Deshojo'") finds the species.

    Parameters
    ----------
    text : str
        Case, accents, hyphens and a plural ending do not matter.
    catalogue : mapping of Latin name to Species
        Give a part of the catalogue (say, the species of one garden) to look only there.

    Raises
    ------
    UnknownNameError
        If nothing fits; the nearest names are offered.
    InputError
        If several fit; they are listed.

    Examples
    --------
    >>> import phenology
    >>> find_species("trident maples", phenology.load_species()).latin
    'Acer buergerianum'
    """
    wanted = plain(text)
    if not wanted:
        raise InputError("name a species")
    found = fitting_species(text, catalogue)
    if len(found) == 1:
        return found[0]
    if found:
        several = ", ".join(f"{s.latin} ({s.name})" if s.names else s.latin for s in found[:SHOWN])
        more = f" and {len(found) - SHOWN} more" if len(found) > SHOWN else ""
        raise InputError(f"'{text}' fits several species: {several}{more}. Write more of the name.")
    raise UnknownNameError("species", text, near_names(wanted, catalogue))


def fitting_species(text: str, catalogue: Mapping[str, Species]) -> list[Species]:
    """The species that a name fits, as `find_species` reads it: none, one or several."""
    wanted = plain(text)
    abroad = _other_names().get(wanted, "")
    if abroad in catalogue:
        return [catalogue[abroad]]
    known = _known(tuple((s.latin, s.names) for s in catalogue.values()))
    if len(wanted) > 2 * known.longest:  # whatever way it is read, each letter and space has one of its own
        return _longest_latin_within(wanted, catalogue)
    latins = _fitting(wanted, known) or _fitting(wanted.removesuffix("s"), known)  # "keyakis"
    return [catalogue[latin] for latin in latins] or _longest_latin_within(wanted, catalogue)


def near_names(text: str, catalogue: Mapping[str, Species], most: int = 3) -> list[str]:
    """Known names that look like a mistyped one, best first, one a species."""
    from difflib import SequenceMatcher

    wanted = plain(text)
    known = _known(tuple((s.latin, s.names) for s in catalogue.values()))
    best: dict[str, tuple[float, int, str]] = {}  # by species; of names as like, the first
    for piece in spellings(tuple(known.pieces)).perhaps_like(wanted, LIKE):
        if (ratio := SequenceMatcher(None, wanted, piece).ratio()) > LIKE:
            for latin, at, name in known.pieces[piece]:
                best[latin] = max(best.get(latin, (0.0, 0, "")), (ratio, -at, name))
    found = [best[latin] for latin in catalogue if latin in best]
    return [name for _, _, name in sorted(found, key=lambda score: -score[0])[:most]]


@dataclass(frozen=True)
class _Known:
    """The names of some species, prepared for comparison, as `plain` has them."""

    names: Sequence[tuple[str, str, str]]  # Latin name, a name with a space before it, and without spaces
    # whole names and their longer words, with whose they are: Latin name, which of its names, as written
    pieces: Mapping[str, Sequence[tuple[str, int, str]]]
    longest: int  # letters of the longest name


@lru_cache(maxsize=16)  # a garden has one catalogue
def _known(listed: tuple[tuple[str, tuple[str, ...]], ...]) -> _Known:
    names: list[tuple[str, str, str]] = []
    pieces: dict[str, list[tuple[str, int, str]]] = {}
    for latin, common in listed:
        for at, name in enumerate((latin, *common)):
            whole = plain(name)
            names.append((latin, f" {whole}", whole.replace(" ", "")))
            for piece in {whole, *(word for word in whole.split() if len(word) > 3)}:
                pieces.setdefault(piece, []).append((latin, at, name))
    return _Known(names, pieces, max((len(name) for _, name, _ in names), default=0))


def latin_meant(written: str, catalogue: Mapping[str, Species], *, another: bool) -> str:
    """The catalogue's Latin name when that is meant, whatever its capitals; else the new name as written.

    With `another` the grower says that it is another species, however like a known one its name is. Raises
    `InputError` if it is a common name, or much like a known Latin one and not said to be another.
    """
    from difflib import get_close_matches

    wanted = plain(written)
    latins = {plain(latin): latin for latin in catalogue}
    if wanted in latins:
        return latins[wanted]
    for species in catalogue.values():
        if wanted in (plain(name) for name in species.names):
            raise InputError(
                f"'{written}' is a common name; write [species.\"{species.latin}\"], its Latin name"
            )
    near = [] if another else get_close_matches(wanted, latins, n=1, cutoff=MISSPELT)
    if near:
        raise InputError(
            f"there is no species '{written}' in the catalogue, but there is {latins[near[0]]}; "
            f'write that, or give the new species names = ["..."] to say it is another one'
        )
    return written


@lru_cache(maxsize=1 << 14)
def plain(text: str) -> str:
    """Lower case, no accents or signs, no plural endings, no hybrid cross.

    Examples
    --------
    >>> plain("Crab-Apples"), plain("Tilia × europaea")
    ('crab apple', 'tilia europaea')
    """
    bare = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text.replace("×", " ")).casefold())
    letters = "".join(c if c.isalnum() else " " for c in bare if not unicodedata.combining(c))
    words = letters.split()
    return " ".join(_singular(word) for word in words if word != "x" or len(words) == 1)


@cache
def _other_names() -> Mapping[str, str]:
    """Latin names by the whole names of other languages, from `other_names.toml`."""
    data = pkgutil.get_data("phenology.species", "other_names.toml")
    assert data is not None
    listed = tomllib.loads(data.decode("utf-8"))
    return {plain(name): latin for latin, names in listed.items() for name in names}


def _fitting(wanted: str, known: _Known) -> list[str]:
    """Latin names with a name that fits in the first way in which any does."""
    if not wanted:
        return []
    begun = [(latin, name) for latin, name, _ in known.names if f" {wanted.split()[0]}" in name]
    joined = wanted.replace(" ", "")
    inside = (latin for latin, _, letters in known.names if len(joined) > 2 and joined in letters)
    for latins in (
        (latin for latin, name in begun if name == f" {wanted}"),
        (latin for latin, name in begun if f" {wanted} " in f"{name} "),
        (latin for latin, name in begun if _beginnings(wanted, name)),
        inside,  # three letters or more anywhere, gaps between words forgotten: "crabapple", "buergerian"
    ):
        if found := dict.fromkeys(latins):
            return list(found)
    return []


def _beginnings(wanted: str, name: str) -> bool:
    """Each word begins a word of the name, in order: "a palm", "chin elm"."""
    words = iter(name.split())
    return all(any(word.startswith(part) for word in words) for part in wanted.split())


def _longest_latin_within(wanted: str, catalogue: Mapping[str, Species]) -> list[Species]:
    held = [s for s in catalogue.values() if f"{wanted} ".startswith(f"{plain(s.latin)} ")]
    return sorted(held, key=lambda s: -len(s.latin))[:1]


def _singular(word: str) -> str:
    if word.endswith("ies") and len(word) > 4:
        return word[:-3] + "y"
    if word.endswith(("ches", "shes", "xes")):
        return word[:-2]
    one = word.endswith("s") and not word.endswith(("ss", "us", "is")) and len(word) > 3
    return word[:-1] if one else word
