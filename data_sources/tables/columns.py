"""Which column of a table is which: as the grower says, as an earlier file had it, by header, by content.

A column is a field of its subject, the dates of one stage or work (`EventColumn`), or passed over. A column
of dates that nothing explains stays open, to be asked about.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from data_sources.journal.schema import ImportMap
from data_sources.tables.dates import is_date, is_dated
from data_sources.tables.headers import event_column, is_mark, is_nothing, is_unknown
from data_sources.tables.problems import TableError
from data_sources.tables.subjects import ENTRIES, PLURALS, SUBJECTS, WHAT, field_names
from data_sources.tables.text_table import TextTable, header_key
from phenology.language.words import known_event, near_words

IGNORE = "-"
"""What a mapping gives a column that is to be passed over."""
OPEN = "?"
"""What it has for a column of dates of which nothing tells what happened then."""
SAMPLE = 60  # cells of a column looked at to learn what it holds
MOST = 0.6  # of them that must agree


@dataclass(frozen=True)
class Known:
    """What a garden makes of a cell: whether it names one of its trees, or a species."""

    is_tree: Callable[[str], bool] = lambda _: False
    is_species: Callable[[str], bool] = lambda _: False


@dataclass
class Columns:
    """The columns of a table while they are being understood."""

    table: TextTable
    said: Mapping[str, str]
    known: Known = field(default_factory=Known)

    @cached_property
    def samples(self) -> dict[str, list[str]]:
        """Some cells of each column, those that say nothing left out."""
        found: dict[str, list[str]] = {key: [] for key in self.table.keys}
        for _, cells in self.table.rows:
            for key, cell in zip(self.table.keys, cells, strict=True):
                if len(found[key]) < SAMPLE and not is_nothing(cell) and not is_unknown(cell):
                    found[key].append(cell.strip())
        return found

    def mostly(self, key: str, holds: Callable[[str], bool]) -> bool:
        """Whether most cells of a column are of a kind."""
        cells = self.samples[key]
        return bool(cells) and sum(map(holds, cells)) >= MOST * len(cells)

    @cached_property
    def events(self) -> dict[str, str]:
        """Columns headed by a stage or work that hold a date or a mark, or nothing."""
        return {
            key: str(event)
            for key, header in zip(self.table.keys, self.table.headers, strict=True)
            if key not in self.said
            and (event := event_column(header)) is not None
            and (not self.samples[key] or any(is_date(cell) or is_mark(cell) for cell in self.samples[key]))
        }

    def mapping(self, subject: str) -> dict[str, str]:
        """Every header with what it is in a table of a subject."""
        by_words = _by_words(subject, self.table.keys, self.said)
        if subject not in ENTRIES:
            return self.settled(by_words)
        mapping = {key: self.events.get(key, name) for key, name in by_words.items()}
        what = WHAT[subject]
        for key, name in mapping.items():
            if key in self.said:
                continue
            if name == "kind" and self.mostly(key, self.known.is_species):
                mapping[key] = "species"
            elif name == what and self.mostly(key, is_dated):
                mapping[key] = IGNORE
        wide = any(event_column(name) for name in mapping.values())
        if not wide:
            self.find(mapping, what, lambda cell: known_event(cell) is not None)
        if not wide and what in mapping.values():
            self.find(mapping, "date", is_dated)
        self.find(mapping, "tree", self.known.is_tree)
        if wide or {"date", what} <= set(mapping.values()):
            self.find(mapping, "tree", lambda cell: _is_name(cell) and not self.known.is_species(cell))
            self.find(mapping, "tree", _is_name)
        self.find(mapping, "species", self.known.is_species)
        return self.settled(mapping)

    def find(self, mapping: dict[str, str], name: str, holds: Callable[[str], bool]) -> None:
        """Give a field that no header names to the first column whose cells are of its kind."""
        free = [key for key, given in mapping.items() if given == IGNORE and key not in self.said]
        if name not in mapping.values():
            fits = next((key for key in free if self.mostly(key, holds)), None)
            if fits is not None:
                mapping[fits] = name

    def settled(self, mapping: dict[str, str]) -> dict[str, str]:
        """The mapping, columns of dates that nothing explains marked as open."""
        return {
            key: OPEN if name == IGNORE and key not in self.said and self.mostly(key, is_dated) else name
            for key, name in mapping.items()
        }


def understand(
    table: TextTable,
    *,
    subject: str | None,
    said: Mapping[str, str],
    remembered: Iterable[ImportMap],
    known: Known,
) -> tuple[str, dict[str, str], dict[str, str], ImportMap | None]:
    """Subject, columns, remembered options, and what an earlier file with these headers left.

    Raises `TableError` if a needed field has no column, or a mapping names a header or field that is not
    there.
    """
    headers = table.keys
    said = {header_key(header): name for header, name in said.items()}
    for header in said:
        if header not in headers:
            raise TableError(f"{table.file} has no column '{header}'; it has {table.listed}")
    before = next((m for m in remembered if sorted(json.loads(m.headers)) == sorted(headers)), None)
    kept: dict[str, str] = {}
    if before is not None and subject in (None, before.target):
        subject, kept = before.target, json.loads(before.options)
        said = json.loads(before.mapping) | said
    candidates = [subject] if subject else list(SUBJECTS)
    foreign = [name for name in said.values() if name != IGNORE and event_column(name) is None]
    _check_names(foreign, candidates)
    columns = Columns(table, said, known)
    lacking: dict[str, list[str]] = {}
    fitting: dict[str, dict[str, str]] = {}
    for candidate in candidates:
        mapping = columns.mapping(candidate)
        names = set(mapping.values())
        needed = _needed(candidate, mapping)
        lacking[candidate] = [name for name in needed if name not in names]
        lacking[candidate] += [name for name in foreign if name not in field_names(candidate)]
        if not lacking[candidate]:
            fitting[candidate] = mapping
    if fitting:
        chosen = _fittest(fitting, columns)
        return chosen, fitting[chosen], kept, before
    subject = max(lacking, key=lambda s: len(field_names(s, needed=True)) - len(lacking[s]))
    lacks = lacking[subject]
    raise TableError(
        f"{table.file}: which column is the {' and which the '.join(lacks)} of its {PLURALS[subject]}? "
        f"It has {table.listed}",
        hint=f"; say for example --map '{table.headers[0]}={lacks[0]}'",
    )


def explained(headers: Sequence[str], subject: str) -> dict[str, str]:
    """What the headers alone say; a mapping that says more is worth remembering."""
    by_words = _by_words(subject, headers, {})
    if subject not in ENTRIES:
        return by_words
    events = {header: event_column(header) for header in headers}
    return {h: str(events[h]) if events[h] else name for h, name in by_words.items()}


def _needed(subject: str, mapping: Mapping[str, str]) -> tuple[str, ...]:
    """Fields that a table must have; with columns of dates, even such as are to be asked about, the tree."""
    if subject in ENTRIES and any(name == OPEN or event_column(name) for name in mapping.values()):
        return ("tree",)
    return field_names(subject, needed=True)


def _fittest(fitting: Mapping[str, dict[str, str]], columns: Columns) -> str:
    """The first subject that fits, but trees where no column says what was seen or done.

    A list of trees may have a column of dates that is called like work: when each was repotted.
    """
    first = next(iter(fitting))
    if "tree" in fitting and first in ENTRIES and WHAT[first] not in fitting[first].values():
        events = [key for key, name in fitting[first].items() if event_column(name)]
        if all(key not in columns.said and fitting["tree"][key] not in (IGNORE, OPEN) for key in events):
            return "tree"
    return first


def _is_name(cell: str) -> bool:
    return any(map(str.isalpha, cell)) and not is_dated(cell) and known_event(cell) is None


def _check_names(names: Sequence[str], subjects: Sequence[str]) -> None:
    known = {name for subject in subjects for name in field_names(subject)}
    for name in names:
        if name not in known:
            near = near_words(name, {n: n for n in known})
            hint = f"did you mean {' or '.join(near)}?" if near else f"they are {', '.join(sorted(known))}"
            raise TableError(f"there is no field '{name}' to map a column to; {hint}")


def _by_words(subject: str, headers: Sequence[str], said: Mapping[str, str]) -> dict[str, str]:
    """Every header with its field, or with IGNORE; no field twice, its own name before its other words."""
    mapping = {h: said[h] for h in headers if h in said}
    taken = set(mapping.values())
    for own_name in (True, False):
        words = {
            word: one.name
            for one in reversed(SUBJECTS[subject])
            for word in (one.headers[:1] if own_name else one.headers)
        }
        for header in headers:
            name = words.get(header.replace("_", " "))
            if name is not None and name not in taken and header not in mapping:
                mapping[header] = name
                taken.add(name)
    return {h: mapping.get(h, IGNORE) for h in headers}
