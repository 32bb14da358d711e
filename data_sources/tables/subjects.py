"""What tables speak of: looks, work, trees and places, the columns of each, and how their cells read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from data_sources.tables.cells import number_between, one_of, yes_or_no
from phenology.language.words import find_event, find_part
from phenology.model.errors import InputError


def _flush_number(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 2 and 1 <= int(text) <= 20):
        raise InputError("write the number of the flush within its season: 1, 2, ...")
    return int(text)


@dataclass(frozen=True)
class Field:
    """One column of a subject.

    `words` are the other headers it goes by, separated by commas. `read` makes the value of a cell's text,
    and its `InputError` says what to write; for a date, `date` names the method of `DateReader` that does.
    A table must have what is `needed`, and so must every row; other cells may be empty.
    """

    name: str
    words: str = ""
    read: Callable[[str], Any] = str
    date: str = ""
    needed: bool = False
    empty: Any = None

    @property
    def headers(self) -> tuple[str, ...]:
        """Every header it goes by, its own name first."""
        return (self.name.replace("_", " "), *(word.strip() for word in self.words.split(",") if word))


# Headers of other languages' notebooks are from memory, unverified.
_TREE = "tree name, tree label, plant, baum, pflanze, arbre, arbol, árbol, albero, pianta, boom"
_NAME = "name, nom, nombre, nome, naam"
_SPECIES = (
    "latin, latin name, taxon, variety, cultivar, art, baumart, gattung, sorte, espèce, especie, "
    "specie, soort"
)
_NOTE = Field(
    "note",
    "notes, remark, remarks, comment, comments, notiz, notizen, bemerkung, bemerkungen, remarque, "
    "remarques, nota, notas, observaciones, osservazioni, opmerking, opmerkingen",
)
_DATE = "day, when, date seen, date done, datum, tag, jour, fecha, data, giorno, dag"

SEASON_WORDS = (
    *("season", "year", "jahr", "saison", "année", "annee", "año", "temporada", "anno", "stagione"),
    *("jaar", "seizoen"),
)


def _entry(what: Field, when: str) -> tuple[Field, ...]:
    """The columns of looks and work, which a notebook mixes; what the cell of `what` says decides."""
    return (
        Field("date", f"{_DATE}, {when}", date="vague", needed=True),
        Field("tree", f"label, {_NAME}, {_TREE}", needed=True),
        what,
        Field("species", _SPECIES),
        Field("season", ", ".join(SEASON_WORDS[1:])),
        Field("flush", "flush number, flush no", _flush_number),
        Field("earliest", "from, not before", date="exact"),
        Field("latest", "to, until, not after", date="exact"),
        Field("part", "where on tree", find_part),
        Field("kind", "seen or happened", one_of("seen", "happened")),
        Field("checked", "stalled", yes_or_no, empty=False),
        Field("lost", "damaged", yes_or_no, empty=False),
        Field("early", "too early, before hard", yes_or_no, empty=False),
        Field("leaves", "leaf count, leaves per shoot"),
        Field("who", "by, observer, person, wer, qui, quién, chi, wie"),
        _NOTE,
    )


SUBJECTS: dict[str, tuple[Field, ...]] = {
    "look": _entry(
        Field(
            "stage",
            "state, phase, growth stage, seen, what, event, leaves are, what happened, zustand, stadium, "
            "was, beobachtung, ereignis, stade, état, quoi, estado, etapa, qué, stato, fase, cosa, "
            "waarneming, wat",
            find_event,
            needed=True,
        ),
        "seen on, observed",
    ),
    "work": _entry(
        Field(
            "operation",
            "work, job, task, what, done, did, treatment, arbeit, travail, trabajo, lavoro, werk",
            find_event,
            needed=True,
        ),
        "done on",
    ),
    "tree": (
        Field("label", f"tree, {_NAME}, {_TREE}", needed=True),
        Field("species", f"{_SPECIES}, kind", needed=True),
        Field("place", "where, bench, location, stands, ort, platz, standort, lieu, lugar, luogo, plaats"),
        Field("aim", "phase, purpose", one_of("building", "refining", "resting")),
        Field("pot", "container, pot size"),
        Field("last_repot", "repotted, last repotted", date="middle"),
        Field("vigour", "vigor, strength"),
        Field("grown_for", "", one_of("leaf", "flower", "fruit")),
        Field("retired", "gone, sold, died", date="middle"),
        _NOTE,
    ),
    "place": (
        Field("name", "place, where, bench, location", needed=True),
        Field("latitude", "lat", number_between(-90, 90), needed=True),
        Field("longitude", "lon, long, lng", number_between(-180, 180), needed=True),
        Field("elevation", "altitude, height, elevation m", number_between(-430, 9000)),
        Field("timezone", "time zone"),
        Field("cover", "shelter, roof", empty="open"),
        Field("sun", "light, exposure"),
        _NOTE,
    ),
}
PLURALS = {"look": "looks", "work": "works", "tree": "trees", "place": "places"}
ENTRIES = ("look", "work")
WHAT = {"look": "stage", "work": "operation"}
"""Which field says what was seen or done."""


def field_names(subject: str, *, needed: bool = False) -> tuple[str, ...]:
    """Names of a subject's columns, or only of those that a table must have."""
    return tuple(field.name for field in SUBJECTS[subject] if field.needed or not needed)
