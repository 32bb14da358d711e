"""What tables speak of: looks, work, trees and places, the columns of each, and how their cells read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from data_sources.tables.cells import number_between, one_of, yes_or_no
from phenology.language.words import find_operation, find_part, find_stage
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


_TREE = "label, name, plant, tree label, tree name"
_NOTE = Field("note", "notes, remark, remarks, comment, comments")
_SPECIES = "latin, latin name, taxon"
_ENDS = (
    Field("earliest", "from, not before", date="exact"),
    Field("latest", "to, until, not after", date="exact"),
    Field("part", "where on tree", find_part),
)

SUBJECTS: dict[str, tuple[Field, ...]] = {
    "look": (
        Field("date", "day, when, seen on, observed, date seen", date="vague", needed=True),
        Field("tree", _TREE, needed=True),
        Field("stage", "state, phase, growth stage, seen, what, leaves are", find_stage, needed=True),
        Field("species", _SPECIES),
        Field("flush", "flush number, flush no", _flush_number),
        *_ENDS,
        Field("kind", "seen or happened", one_of("seen", "happened")),
        Field("checked", "stalled", yes_or_no, empty=False),
        Field("lost", "damaged", yes_or_no, empty=False),
        Field("leaves", "leaf count, leaves per shoot"),
        Field("who", "by, observer, person"),
        _NOTE,
    ),
    "work": (
        Field("date", "day, when, done on, date done", date="vague", needed=True),
        Field("tree", _TREE, needed=True),
        Field("operation", "work, job, task, what, done, did, treatment", find_operation, needed=True),
        Field("species", _SPECIES),
        *_ENDS,
        Field("early", "too early, before hard", yes_or_no, empty=False),
        Field("who", "by, person"),
        _NOTE,
    ),
    "tree": (
        Field("label", "tree, name, plant, tree label, tree name", needed=True),
        Field("species", f"{_SPECIES}, kind", needed=True),
        Field("place", "where, bench, location, stands"),
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


def field_names(subject: str, *, needed: bool = False) -> tuple[str, ...]:
    """Names of a subject's columns, or only of those that a table must have."""
    return tuple(field.name for field in SUBJECTS[subject] if field.needed or not needed)
