"""Taking spreadsheets and exports into a garden: all of them or nothing.

Every bad row is told at once; rows already there are recognised. A file that `garden_tables` exported is
taken as it stands, ids and all, when all it points at is there; any other is read by its columns.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from data_sources.tables.columns import PLURALS, Columns, read_columns, to_remember
from data_sources.tables.csv_cells import BadRowsError, CsvTable, read_csv
from data_sources.tables.exported_import import take_exported
from data_sources.tables.garden_tables import GardenRecords, table_of_file
from data_sources.tables.import_draft import Draft, FileReport, ImportPlan, species_named
from data_sources.tables.looks_csv import order_of
from data_sources.tables.rows import DatedRow, RowReader, TreeRow
from phenology.language.tree_selection import select_trees
from phenology.language.vague_dates import DATE_ORDERS, AmbiguousDateError, DateOrder
from phenology.model.errors import InputError, StageOrderError, UnknownNameError
from phenology.model.operations import Operation
from phenology.model.records import Flush, Look, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Part, Stage
from phenology.records.entries import look_changes, work_changes
from phenology.records.flushes import TreeRecord
from phenology.records.record_book import RecordBook
from phenology.species.catalogue import Species


class KindUnclearError(InputError):
    """Dates of a file could be when a stage was seen or when it came about."""


@dataclass(frozen=True)
class Asked:
    """What the grower says about the files; everything may be left open.

    Parameters
    ----------
    target : str, optional
        "look", "work", "tree" or "place".
    mapping : mapping of header to field
    order : {"day-first", "month-first"}, optional
        Said of these files; it rules.
    usual_order : {"day-first", "month-first"}, optional
        The garden's; it decides where a file does not tell.
    first_weekday : int
        Where the garden's weeks begin, counted from Monday as 0.
    kind : {"seen", "happened"}, optional
    new_trees : bool
        Add trees that looks or work name but the garden lacks.
    """

    target: str | None = None
    mapping: Mapping[str, str] = field(default_factory=dict)
    order: DateOrder | None = None
    kind: str | None = None
    new_trees: bool = False
    usual_order: DateOrder | None = None
    first_weekday: int = 0


def plan_import(
    paths: Sequence[Path],
    records: GardenRecords,
    catalogue: Mapping[str, Species],
    calendar: SeasonCalendar,
    *,
    today: date,
    new_id: Callable[[], str],
    asked: Asked | None = None,
) -> ImportPlan:
    """Work out what files change in a garden, without changing it.

    Raises
    ------
    BadRowsError
        With every row of every file that cannot be used.
    InputError
        If a file cannot be read, its columns are not understood, or a question has to be answered first
        (`AmbiguousDateError`, `KindUnclearError`).
    """
    asked = asked or Asked()
    draft = Draft(records, catalogue, calendar, today, new_id)
    tables = [
        None if asked.target or asked.mapping else table_of_file(read_csv(path).headers) for path in paths
    ]
    exported = [(path, table) for path, table in zip(paths, tables, strict=True) if table]
    strangers = take_exported(draft, exported)
    by_columns = [(path, False) for path, table in zip(paths, tables, strict=True) if not table]
    for path, table in exported:
        if path not in strangers:
            if table in PLURALS and any(not row["id"] for _, row in read_csv(path).rows):
                by_columns.append((path, True))
        elif table in PLURALS:
            by_columns.append((path, False))
        else:
            draft.plan.warnings.append(
                f"{path.name} was passed over: it points at rows that are not here; import the whole export"
            )
    _Tables(draft, asked).take(by_columns)
    if draft.problems:
        raise BadRowsError(sorted(draft.problems, key=lambda p: (p.file, p.line or 0)))
    return draft.plan


class _Tables:
    """The files that are read by their columns."""

    def __init__(self, draft: Draft, asked: Asked) -> None:
        self.draft, self.asked = draft, asked

    def take(self, paths: Sequence[tuple[Path, bool]]) -> None:
        """Read files by their columns: places first, then trees, then looks and work by date.

        Of an export taken as it stands (True) only the rows without an id are read: they were added since.
        """
        read = [self._columns(path, only_added) for path, only_added in paths]
        dated: list[tuple[DatedRow, RowReader, FileReport]] = []
        for target in ("place", "tree", "look", "work"):
            for table, columns in read:
                if columns.target != target:
                    continue
                reader, report = self._reader(table, columns)
                for line, cells in table.rows:
                    row = columns.fields_of(cells)
                    if target == "place":
                        self._take_place(reader, report, line, row)
                    elif target == "tree":
                        found = reader.tree(line, row)
                        if found is not None:
                            self._take_tree(reader, report, found)
                    else:
                        entry = reader.dated(line, row)
                        if entry is not None:
                            dated.append((entry, reader, report))
                self.draft.problems += reader.problems
                reader.problems.clear()
        if dated:
            self._ask_for_kind([row for row, _, _ in dated])
            self._take_dated(dated)

    def _columns(self, path: Path, only_added: bool) -> tuple[CsvTable, Columns]:
        table = read_csv(path)
        if only_added:
            table = replace(
                table, rows=tuple((line, row) for line, row in table.rows if not row["id"]), problems=()
            )
        self.draft.problems += table.problems
        asked = self.asked
        options = {k: v for k, v in {"order": asked.order, "kind": asked.kind}.items() if v}
        columns = read_columns(
            table.file,
            table.headers,
            target=asked.target,
            given=asked.mapping,
            options=options,
            remembered=self.draft.maps(),
        )
        kept = to_remember(columns, self.draft.new_id())
        if kept is not None and not only_added:
            self.draft.add("import_map", kept)
        return table, columns

    def _reader(self, table: CsvTable, columns: Columns) -> tuple[RowReader, FileReport]:
        report = next((r for r in self.draft.plan.reports if r.file == table.file), None)
        if report is None:
            report = FileReport(table.file, columns.target, remembered=columns.remembered is not None)
            self.draft.plan.reports.append(report)
        order = columns.options.get("order")
        dates = [columns.header_of(n) for n in ("date", "earliest", "latest", "last_repot", "retired")]
        decided = order if order in DATE_ORDERS else self._order_told(table, dates)
        reader = RowReader(
            table.file,
            columns,
            self.draft.calendar,
            today=self.draft.today,
            order=decided,
            kind=columns.options.get("kind"),
            first_weekday=self.asked.first_weekday,
        )
        return reader, report

    def _order_told(self, table: CsvTable, dates: Sequence[str]) -> DateOrder | None:
        """The order of day and month that a file proves, else the garden's, which is then said."""
        try:
            return order_of(table, dates)
        except AmbiguousDateError as error:
            usual = self.asked.usual_order
            if usual is None or "do not agree" in str(error):
                raise
            told = f"{table.file}: dates read {usual}, as this garden has them; --date-order says otherwise"
            if told not in self.draft.plan.warnings:
                self.draft.plan.warnings.append(told)
            return usual

    def _take_place(self, reader: RowReader, report: FileReport, line: int, row: Mapping[str, str]) -> None:
        place = reader.place(line, row, self.draft.new_id())
        if place is None:
            return
        if any(p.name.casefold() == place.name.casefold() for p in self.draft.places()):
            report.there += 1
            return
        self.draft.add("place", place)
        report.added += 1

    def _take_tree(self, reader: RowReader, report: FileReport, row: TreeRow) -> None:
        there = next((t for t in self.draft.trees() if t.label.casefold() == row.label.casefold()), None)
        try:
            species = species_named(row.species, self.draft.catalogue)
        except InputError as error:
            return reader.problem(row.line, "species", row.species, error)
        if there is not None:
            if there.species != species:
                advice = f"the garden's {there.label} is a {there.species}; give this tree another label"
                return reader.problem(row.line, "label", row.label, advice)
            report.there += 1
            return None
        places = self.draft.places()
        place = places[0] if places else None
        if row.place:
            place = next((p for p in places if p.name.casefold() == row.place.casefold()), None)
            if place is None:
                near = difflib.get_close_matches(row.place, [p.name for p in places], n=2)
                return reader.problem(
                    row.line, "place", row.place, UnknownNameError("place", row.place, near)
                )
        tree = Tree(
            self.draft.new_id(),
            row.label,
            species,
            row.pot,
            row.last_repot,
            row.vigour,
            row.grown_for,
            row.retired,
            row.note,
        )
        self.draft.add_tree(tree, place, row.aim)
        report.added += 1
        return None

    def _ask_for_kind(self, rows: Sequence[DatedRow]) -> None:
        unclear = next((row for row in rows if row.kind_is_open), None)
        if unclear is not None:
            raise KindUnclearError(
                f"{unclear.file}, line {unclear.line}: '{unclear.date_text}' may be when {unclear.what} was "
                "seen or when it came about; say --kind seen or --kind happened for the file"
            )

    def _take_dated(self, dated: list[tuple[DatedRow, RowReader, FileReport]]) -> None:
        """Looks and work in the order of their dates, a look before work of its day."""
        book = RecordBook(
            self.draft.calendar,
            [f for f in self.draft.by_id["flush"].values() if isinstance(f, Flush)],
            [k for k in self.draft.by_id["look"].values() if isinstance(k, Look)],
        )
        said = {
            _key(r)
            for t in ("look", "work")
            for r in self.draft.by_id[t].values()
            if isinstance(r, Look | Work)
        }
        dated.sort(key=lambda d: (d[0].latest, d[0].earliest, d[1].columns.target == "work"))
        roster = self.draft.roster()
        for row, reader, report in dated:
            try:
                trees = select_trees(row.trees, roster, on=row.latest)
            except InputError as error:
                tree = self._new_tree(row, reader, error)
                if tree is None:
                    continue
                trees, roster = (tree,), self.draft.roster()
            for tree in trees:
                entry = _entry(row, tree, self.draft.new_id(), reader.columns.target)
                if _key(entry) in said:
                    report.there += 1
                    continue
                said.add(_key(entry))
                record = book.around(tree.id, tree.label, row.latest)
                if self._place(entry, row, record, book, reader):
                    report.added += 1
        for reader in {id(r): r for _, r, _ in dated}.values():
            self.draft.problems += reader.problems
            reader.problems.clear()

    def _place(
        self, entry: Look | Work, row: DatedRow, record: TreeRecord, book: RecordBook, reader: RowReader
    ) -> bool:
        try:
            if isinstance(entry, Look):
                changes = look_changes(
                    entry,
                    record,
                    self.draft.calendar,
                    today=self.draft.today,
                    new_id=self.draft.new_id,
                    number=row.flush,
                )
            else:
                changes = work_changes(
                    entry, record, self.draft.calendar, today=self.draft.today, new_id=self.draft.new_id
                )
        except StageOrderError as error:
            first = str(error).split(". A new flush")[0]
            advice = f"{first}; if it is a new flush write its number (2, 3, ...) in a column 'flush'"
            reader.problem(row.line, "stage", row.said, advice)
            return False
        except InputError as error:
            reader.problem(row.line, "date", row.date_text, error)
            return False
        book.apply(changes)
        self.draft.plan.save += changes.save
        return True

    def _new_tree(self, row: DatedRow, reader: RowReader, error: InputError) -> Tree | None:
        """The tree a row names but the garden lacks, added if the grower asked for that."""
        if self.asked.new_trees and row.species and isinstance(error, UnknownNameError | InputError):
            try:
                species = species_named(row.species, self.draft.catalogue)
            except InputError as wrong:
                reader.problem(row.line, "species", row.species, wrong)
                return None
            tree = Tree(self.draft.new_id(), row.trees, species)
            places = self.draft.places()
            self.draft.add_tree(tree, places[0] if places else None, None)
            return tree
        more = "" if self.asked.new_trees else "; --new-trees adds the trees that a file names"
        if self.asked.new_trees:
            more = "; to add it the row needs a species"
        reader.problem(row.line, "tree", row.trees, f"{error}{more}")
        return None


def _entry(row: DatedRow, tree: Tree, id: str, target: str) -> Look | Work:
    if target == "work":
        return Work(
            id,
            tree.id,
            Operation(row.what),
            row.date_text,
            row.earliest,
            row.latest,
            Part(row.part) if row.part else None,
            row.early,
            row.who,
            row.note,
        )
    return Look(
        id,
        tree.id,
        "",
        Stage(row.what),
        row.date_text,
        row.earliest,
        row.latest,
        row.kind,
        row.checked,
        row.lost,
        Part(row.part) if row.part else None,
        row.leaves,
        row.who,
        row.note,
    )


def _key(entry: Look | Work) -> tuple[object, ...]:
    """What makes two looks, or two pieces of work, one and the same."""
    if isinstance(entry, Work):
        return ("work", entry.tree_id, entry.operation, entry.earliest, entry.latest, entry.part)
    return (
        "look",
        entry.tree_id,
        entry.stage,
        entry.earliest,
        entry.latest,
        entry.kind,
        entry.part,
        entry.lost,
    )
