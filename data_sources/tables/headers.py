"""What a header or a cell looks like: a stage or work with its year, a mark, nothing."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache, lru_cache

from data_sources.tables.subjects import SUBJECTS
from phenology.language.words import known_event
from phenology.model.operations import Operation
from phenology.model.stages import Stage

_YEAR = re.compile(r"\b(?P<year>(?:19|20)\d\d)(?:\s*[/-]\s*(?:\d\d)?\d\d)?\b")
_NUMBER = re.compile(r"(?:#|no\.?|nr\.?|\()?\s*(?P<number>[1-9])\)?$|^(?P<first>[1-9])(?:st|nd|rd|th|\.)\s")
_AROUND = re.compile(r"^(?:date of|date|day of|on|when|datum|date de|fecha de|data di)\b[ :]*|[ :]*\bdate$")
_MARKS = {"x", "xx", "yes", "y", "ja", "oui", "sí", "si", "✓", "✔", "✗", "true"}
_NOTHING = {"", "-", "--", "—", "–", "/", "n/a", "na", "none", "no", "nein", "non", "nee", ".", "0", "x̶"}
_UNKNOWN = {"?", "??", "???", "unknown", "not known", "don't know", "unbekannt", "inconnu", "desconocido"}
AGAIN = " (again)"
"""Behind a column name that another column has too."""


@dataclass(frozen=True)
class EventColumn:
    """A column whose cells are the dates of one stage or work, perhaps of one year or one flush."""

    event: Stage | Operation
    year: int | None = None
    flush: int | None = None

    def __str__(self) -> str:
        return ":".join([str(self.event), str(self.year or ""), str(self.flush or "")]).rstrip(":")


@lru_cache(maxsize=1 << 12)  # a file asks of its few headers in every row
def event_column(header: str) -> EventColumn | None:
    """What a header such as "Bud break", "2004 hardened off" or "Budbreak 2" says; None for other headers.

    Examples
    --------
    >>> str(event_column("Hardened off 2004")), str(event_column("cutback::2")), event_column("Moon")
    ('hardened:2004', 'cutback::2', None)
    """
    name, _, rest = header.partition(":")
    years, _, number = rest.partition(":")
    if rest and all(part.isdigit() or not part for part in (years, number)):  # as `str` writes it
        event = known_event(name)
        return (
            None if event is None else EventColumn(event, int(years or 0) or None, int(number or 0) or None)
        )
    text, year, flush = header.casefold().replace(AGAIN, ""), None, None
    if found := _YEAR.search(text):
        year, text = int(found["year"]), text.replace(found[0], " ")
    text = text.strip(" -:,()[]")
    event = known_event(text)
    if event is None and (found := _NUMBER.search(text)):
        flush, text = int(found["number"] or found["first"]), text.replace(found[0], " ")
    event = event or known_event(_AROUND.sub("", text.strip(" -:,()[]")))
    return None if event is None else EventColumn(event, year, flush)


def year_in(text: str) -> int | None:
    """The one year that a title names; None for none or several."""
    years = {int(found["year"]) for found in _YEAR.finditer(text)}
    return years.pop() if len(years) == 1 else None


def is_known_header(header: str) -> bool:
    """Whether a table of looks, work, trees or places may have this column."""
    return header.casefold().replace("_", " ").strip() in _known_headers() or event_column(header) is not None


@cache
def _known_headers() -> frozenset[str]:
    return frozenset(word for fields in SUBJECTS.values() for field in fields for word in field.headers)


def is_mark(cell: str) -> bool:
    """Whether a cell only ticks its column."""
    return cell.strip().casefold() in _MARKS


def is_nothing(cell: str) -> bool:
    """Whether a cell where a date could stand says that there is none."""
    return cell.strip().casefold() in _NOTHING


def is_unknown(cell: str) -> bool:
    """Whether a cell says that its date is not known."""
    return cell.strip().casefold() in _UNKNOWN
