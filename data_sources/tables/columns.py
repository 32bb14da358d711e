"""Which column of a spreadsheet is which: by its header's everyday words, by a mapping given, or remembered.

A file whose headers were read once is recognised by them the next time.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from data_sources.journal.schema import ImportMap
from phenology.language.words import near_words
from phenology.model.errors import InputError

# Per table, each field with the headers it goes by besides its own name. The first ones are needed.
FIELDS: dict[str, dict[str, tuple[str, ...]]] = {
    "look": {
        "date": ("day", "when", "seen on", "observed", "date seen"),
        "tree": ("label", "name", "plant", "tree label", "tree name"),
        "stage": ("state", "phase", "growth stage", "seen", "what", "leaves are"),
        "species": ("latin", "latin name", "taxon"),
        "flush": ("flush number", "flush no"),
        "earliest": ("from", "not before"),
        "latest": ("to", "until", "not after"),
        "kind": ("seen or happened",),
        "checked": ("stalled",),
        "lost": ("damaged",),
        "part": ("where on tree",),
        "leaves": ("leaf count", "leaves per shoot"),
        "who": ("by", "observer", "person"),
        "note": ("notes", "remark", "remarks", "comment", "comments"),
    },
    "work": {
        "date": ("day", "when", "done on", "date done"),
        "tree": ("label", "name", "plant", "tree label", "tree name"),
        "operation": ("work", "job", "task", "what", "done", "did", "treatment"),
        "species": ("latin", "latin name", "taxon"),
        "earliest": ("from", "not before"),
        "latest": ("to", "until", "not after"),
        "part": ("where on tree",),
        "early": ("too early", "before hard"),
        "who": ("by", "person"),
        "note": ("notes", "remark", "remarks", "comment", "comments"),
    },
    "tree": {
        "label": ("tree", "name", "plant", "tree label", "tree name"),
        "species": ("latin", "latin name", "taxon", "kind"),
        "place": ("where", "bench", "location", "stands"),
        "aim": ("phase", "purpose"),
        "pot": ("container", "pot size"),
        "last_repot": ("last repot", "repotted", "last repotted"),
        "vigour": ("vigor", "strength"),
        "grown_for": ("grown for",),
        "retired": ("gone", "sold", "died"),
        "note": ("notes", "remark", "remarks", "comment", "comments"),
    },
    "place": {
        "name": ("place", "where", "bench", "location"),
        "latitude": ("lat",),
        "longitude": ("lon", "long", "lng"),
        "elevation": ("altitude", "height", "elevation m"),
        "timezone": ("time zone",),
        "cover": ("shelter", "roof"),
        "sun": ("light", "exposure"),
        "note": ("notes", "remark", "remarks", "comment", "comments"),
    },
}
NEEDED: dict[str, tuple[str, ...]] = {
    "look": ("date", "tree", "stage"),
    "work": ("date", "tree", "operation"),
    "tree": ("label", "species"),
    "place": ("name", "latitude", "longitude"),
}
PLURALS = {"look": "looks", "work": "works", "tree": "trees", "place": "places"}
IGNORE = "-"
"""What a mapping gives a column that is to be passed over."""


@dataclass(frozen=True)
class Columns:
    """How a file's columns are read: into which table, header by header, with what options.

    `remembered` is what an earlier file with these headers left, if there was one.
    """

    target: str
    mapping: Mapping[str, str]
    options: Mapping[str, str] = field(default_factory=dict)
    remembered: ImportMap | None = None

    def fields_of(self, cells: Mapping[str, str]) -> dict[str, str]:
        """A row's cells by field name."""
        return {name: cells[header] for header, name in self.mapping.items() if name != IGNORE}

    def header_of(self, name: str) -> str:
        """The header under which a field stands in the file, for messages."""
        return next((header for header, n in self.mapping.items() if n == name), name)


def read_columns(
    file: str,
    headers: Sequence[str],
    *,
    target: str | None = None,
    given: Mapping[str, str] | None = None,
    options: Mapping[str, str] | None = None,
    remembered: Iterable[ImportMap] = (),
) -> Columns:
    """Decide what each column is.

    Parameters
    ----------
    file : str
        For messages.
    headers : sequence of str
        As read: lower case.
    target : str, optional
        "look", "work", "tree" or "place"; else what the columns fit.
    given : mapping of header to field, optional
        What the grower says; wins over everything.
    options : mapping, optional
        Options given with the file ("order", "kind"); they win over remembered ones.
    remembered : iterable of ImportMap
        How earlier files were read.

    Raises
    ------
    InputError
        If a needed field has no column, or a mapping names a header or field that is not there.
    """
    given = {" ".join(h.casefold().split()): f for h, f in (given or {}).items()}
    for header in given:
        if header not in headers:
            raise InputError(f"{file} has no column '{header}'; it has {', '.join(headers)}")
    before = next((m for m in remembered if sorted(json.loads(m.headers)) == sorted(headers)), None)
    known: dict[str, str] = {}
    kept: dict[str, str] = {}
    if before is not None and target in (None, before.target):
        target, known, kept = before.target, json.loads(before.mapping), json.loads(before.options)
    candidates = [target] if target else list(FIELDS)
    missing: dict[str, list[str]] = {}
    for candidate in candidates:
        _check_fields(candidate, given, only=len(candidates) == 1)
        mapping = _mapping(candidate, headers, known | given)
        missing[candidate] = [name for name in NEEDED[candidate] if name not in mapping.values()]
        if not missing[candidate] and set(given.values()) - {IGNORE} <= set(FIELDS[candidate]):
            return Columns(candidate, mapping, {**kept, **(options or {})}, before)
    nearest = max(candidates, key=lambda c: len(NEEDED[c]) - len(missing[c]))
    lacks = missing[nearest] or [f for f in given.values() if f not in FIELDS[nearest]]
    raise InputError(
        f"{file}: which column is the {' and which the '.join(lacks)} of its {PLURALS[nearest]}? It has "
        f"{', '.join(headers)}; say for example --map '{headers[0]}={lacks[0]}'"
    )


def to_remember(columns: Columns, new_id: str) -> ImportMap | None:
    """The record that lets the next file with these headers be read without a question.

    None when the headers say it all, or when it is remembered already.
    """
    headers = sorted(columns.mapping)
    before = columns.remembered
    if (
        before is None
        and not columns.options
        and _mapping(columns.target, headers, {}) == dict(columns.mapping)
    ):
        return None
    now = ImportMap(
        before.id if before else new_id,
        json.dumps(headers, ensure_ascii=False),
        columns.target,
        json.dumps(dict(columns.mapping), ensure_ascii=False, sort_keys=True),
        json.dumps(dict(columns.options), ensure_ascii=False, sort_keys=True),
    )
    return None if now == before else now


def _check_fields(target: str, given: Mapping[str, str], *, only: bool) -> None:
    tables = [target] if only else list(FIELDS)
    known = {name for table in tables for name in FIELDS[table]}
    for name in given.values():
        if name != IGNORE and name not in known:
            near = near_words(name, {n: n for n in known})
            hint = f"did you mean {' or '.join(near)}?" if near else f"they are {', '.join(sorted(known))}"
            raise InputError(f"there is no field '{name}' to map a column to; {hint}")


def _mapping(target: str, headers: Sequence[str], said: Mapping[str, str]) -> dict[str, str]:
    """Every header with its field, or with IGNORE; no field twice, its own name first."""
    mapping = {h: said[h] for h in headers if h in said}
    for wanted in ("name", "words"):
        for header in headers:
            if header in mapping:
                continue
            plain = header.replace("_", " ")
            for name, words in FIELDS[target].items():
                hit = plain == name.replace("_", " ") if wanted == "name" else plain in words
                if hit and name not in mapping.values():
                    mapping[header] = name
                    break
    return {h: mapping.get(h, IGNORE) for h in headers}
