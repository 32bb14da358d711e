"""A garden as an import will leave it: what is there and what is to be saved."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from itertools import count
from pathlib import Path
from typing import Literal, NamedTuple, TypeVar

from data_sources.disk.whole_files import read_output, write_output
from data_sources.journal.schema import TABLES, ImportMap, Record, SharedFile, table_of
from data_sources.tables.cells import csv_lines
from data_sources.tables.dates import is_dated
from data_sources.tables.garden_tables import GardenRecords, read_exported, unresolved
from data_sources.tables.problems import Problem
from data_sources.tables.sheet import Row
from data_sources.tables.subjects import ENTRIES, SUBJECTS, WHAT
from data_sources.tables.text_table import TextTable
from phenology.language.tree_selection import Roster
from phenology.model.errors import UnknownNameError
from phenology.model.records import Aim, Flush, GrowthAim, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import Species, find_species

Fate = Literal["new", "there", "asked", "refused", "unknown"]


class ImportedRow(NamedTuple):
    """A row, or one date of a row, and what became of it.

    `said` is what was understood, in the grower's words; `day` its last day; `texts` the cells by field of a
    row that is left out, to be mended.
    """

    file: str
    line: int
    column: str
    subject: str
    fate: Fate
    said: str
    texts: Mapping[str, str]
    problems: tuple[Problem, ...] = ()
    day: date | None = None


QUESTION = "question"
"""Header of the column of a sheet to be mended that says what is wrong; it is passed over when read again."""


def write_to_mend(folder: Path, stem: str, rows: Sequence[ImportedRow]) -> list[Path]:
    """Write rows that were left out to small sheets that can be mended and imported; one a subject.

    A sheet that is there with other rows stays, and another name is taken.
    """
    paths = []
    for subject, name in (("look", ""), ("tree", "-trees"), ("place", "-places")):
        mine = [
            row for row in rows if row.subject == subject or (subject == "look" and row.subject in ENTRIES)
        ]
        if not mine:
            continue
        fields = [one.name for one in SUBJECTS[subject]]
        used = [
            name
            for name in fields
            if name in _ALWAYS.get(subject, fields) or any(_cell(r, name) for r in mine)
        ]
        headers = ["what" if name == WHAT["look"] else name for name in used] + [QUESTION]
        lines = [[*(_cell(row, name) for name in used), _question(row.problems)] for row in mine]
        paths.append(_write(folder, f"{stem}{name}-to-mend", headers, lines))
    return paths


_ALWAYS: Mapping[str, Sequence[str]] = {"look": ("date", "tree", "stage", "species")}


def _cell(row: ImportedRow, name: str) -> str:
    return row.texts.get(name, "") or (row.texts.get(WHAT["work"], "") if name == WHAT["look"] else "")


def _question(problems: Iterable[Problem]) -> str:
    told = [f"{p.column}: {p.why}" if p.column else p.why for p in problems]
    lines = dict.fromkeys(p.line for p in problems if p.line)
    where = f" (line {', '.join(map(str, lines))})" if lines else ""
    return "; ".join(dict.fromkeys(told)) + where


def _write(folder: Path, stem: str, headers: list[str], lines: list[list[str]]) -> Path:
    data = "".join(csv_lines(headers, [[cell or None for cell in line] for line in lines])).encode("utf-8")
    for n in count(1):
        path = folder / f"{stem}{f'-{n}' if n > 1 else ''}.csv"
        there = read_output(path)
        if there is None:
            write_output(path, data)
        if there in (None, data):
            return path
    raise AssertionError


R = TypeVar("R", Place, Tree, Stand, Aim, Work, Flush, Look, ImportMap, SharedFile)


@dataclass
class ImportedFile:
    """What became of the rows of one file; `works` of those added are work in a table of looks, or looks in
    one of work."""

    file: str
    table: str
    added: int = 0
    changed: int = 0
    there: int = 0
    remembered: bool = False
    others: int = 0
    columns: Mapping[str, str] = field(default_factory=dict)


@dataclass
class ImportPlan:
    """What to save, in order, and what to tell: of each file, of each row, and what was left out.

    `new_trees` are trees that rows name and the garden lacks, with their species; `open_columns` are columns
    of dates that nothing explains (file, header, one of its dates).
    """

    save: list[Record] = field(default_factory=list)
    reports: list[ImportedFile] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    rows: list[ImportedRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    new_trees: dict[str, str] = field(default_factory=dict)
    open_columns: list[tuple[str, str, str]] = field(default_factory=list)

    @property
    def left_out(self) -> list[ImportedRow]:
        """Rows to be mended."""
        return [row for row in self.rows if row.fate in ("asked", "refused")]

    def warn(self, words: str) -> None:
        """A sentence to tell, once."""
        if words not in self.warnings:
            self.warnings.append(words)


class Draft:
    """The records of a garden, those to be saved among them; problems gather until all is read."""

    def __init__(
        self,
        records: GardenRecords,
        catalogue: Mapping[str, Species],
        calendar: SeasonCalendar,
        today: date,
        new_id: Callable[[], str],
    ) -> None:
        self.catalogue, self.calendar, self.today, self.new_id = catalogue, calendar, today, new_id
        self.plan = ImportPlan()
        self.problems: list[Problem] = []
        self.by_id: dict[str, dict[str, Record]] = {t: {r.id: r for r in records.of(t)} for t in TABLES}

    def of(self, kind: type[R]) -> list[R]:
        """All records of a kind."""
        return [record for record in self.by_id[table_of(kind)].values() if isinstance(record, kind)]

    def add(self, record: Record) -> None:
        """A record to be saved."""
        self.by_id[table_of(type(record))][record.id] = record
        self.plan.save.append(record)

    def add_tree(self, tree: Tree, place: Place | None, aim: str | None = None) -> list[Stand]:
        """A tree to be saved, with where it stands (without a place: the garden's first) and its aim."""
        self.add(tree)
        place = place or next(iter(self.of(Place)), None)
        stands = [] if place is None else [Stand(self.new_id(), tree.id, place.id)]
        for stand in stands:
            self.add(stand)
        if aim is not None:
            self.add(Aim(self.new_id(), tree.id, GrowthAim(aim)))
        if tree.species not in self.catalogue:
            self.plan.warn(f"{tree.species} is not in the catalogue: it starts from a neutral guess")
        return stands

    def note(self, row: Row, fate: Fate, said: str = "") -> None:
        """What became of a row."""
        self._note(row, fate, said, {}, ())

    def leave(self, row: Row, problems: Sequence[Problem], tree: Tree | None = None) -> None:
        """A row, or that of one of its trees, is left out, with its problems."""
        self.problems += problems
        fate: Fate = "asked" if any(problem.asks for problem in problems) else "refused"
        texts = row.to_mend() | ({"tree": tree.label} if tree else {})
        self._note(row, fate, "", texts, tuple(problems))

    def _note(
        self, row: Row, fate: Fate, said: str, texts: Mapping[str, str], problems: tuple[Problem, ...]
    ) -> None:
        table, subject, day = row.sheet.table, row.sheet.subject, row.values.get("latest")
        self.plan.rows.append(
            ImportedRow(table.file, row.line, row.date_column, subject, fate, said, texts, problems, day)
        )

    def pass_over(self, table: TextTable, why: str) -> None:
        """A sheet that is no table of ours; dates in it are refused, each with its place."""
        self.plan.warn(f"{table.file} was passed over: {why}")
        for line, cells in table.rows:
            for header, cell in zip(table.headers, cells, strict=True):
                if is_dated(cell):
                    wrong = Problem(table.file, line, header, f"read '{cell}'", "the sheet is not understood")
                    self.problems.append(wrong)
                    one = ImportedRow(
                        table.file, line, header, "look", "refused", "", {"date": cell}, (wrong,)
                    )
                    self.plan.rows.append(one)

    def refuse_ragged(self, table: TextTable) -> None:
        """Rows with more cells than the table has columns."""
        self.problems += table.problems
        for (line, cells), problem in zip(table.ragged, table.problems, strict=True):
            texts = {"note": " | ".join(cells)}
            self.plan.rows.append(ImportedRow(table.file, line, "", "look", "refused", "", texts, (problem,)))

    def take_exported(self, tables: Sequence[tuple[TextTable, str]]) -> list[ImportedFile | None]:
        """Take exported tables as they stand, ids and all, and say what became of each.

        None says that a table was not taken, for it points at something that is not here and does not come.
        """
        read = [
            (table, name, read_exported(table, name, self.problems, all_have_ids=name not in SUBJECTS))
            for table, name in tables
        ]
        known = {name: set(found) for name, found in self.by_id.items()}
        for _, name, rows in read:
            known[name] |= {record.id for _, record in rows}
        taken = {
            id(table): ImportedFile(table.file, name)
            for table, name, rows in read
            if not any(unresolved(name, record, known) for _, record in rows)
        }
        for table, name, rows in sorted(read, key=lambda r: list(TABLES).index(r[1])):  # parents first
            report = taken.get(id(table))
            if report is None:
                continue
            self.plan.reports.append(report)
            for _, record in rows:
                before = self.by_id[name].get(record.id)
                if before == record:
                    report.there += 1
                else:
                    report.changed += before is not None
                    report.added += before is None
                    self.add(record)
        return [taken.get(id(table)) for table, _ in tables]

    def roster(self) -> Roster:
        """What selections of trees are read against."""
        names = {latin: species.names for latin, species in self.catalogue.items()}
        return Roster(self.of(Tree), self.of(Place), self.of(Stand), names)


def species_named(text: str, catalogue: Mapping[str, Species]) -> str:
    """The Latin name meant: of the catalogue, or as written when it is a Latin name near no known one.

    Raises `InputError` if it is neither.
    """
    try:
        return find_species(text, catalogue).latin
    except UnknownNameError:
        name = " ".join(text.split())
        latin = re.fullmatch(r"[A-Z][a-z]+ (?:[x×] )?[a-z-]{3,}.*", name)
        if latin and not difflib.get_close_matches(name, catalogue, n=1, cutoff=0.87):
            return name
        raise
