"""Taking spreadsheets and exports into a garden: what is understood, or with `strict` all of it or nothing.

Every row that cannot be used is told at once; rows already there are recognised. A table that `garden_tables`
exported is taken as it stands, ids and all, when all it points at is there; any other is read by its columns.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from functools import cache

from data_sources.journal.schema import ImportMap
from data_sources.tables.columns import OPEN, Known
from data_sources.tables.dates import DateReader, is_dated
from data_sources.tables.garden_tables import GardenRecords, table_of_headers
from data_sources.tables.import_draft import Draft, ImportedFile, ImportPlan, species_named
from data_sources.tables.problems import FileQuestion, MixedOrders, TableError
from data_sources.tables.sheet import Row, Sheet, read_sheet, to_remember
from data_sources.tables.subjects import SUBJECTS
from data_sources.tables.text_table import TextTable, header_key
from data_sources.tables.tree_names import NewTreeError, SpeciesError, TreeReader
from phenology.language.plain_names import name_key, plain_name
from phenology.language.tree_selection import Roster, select_trees
from phenology.language.vague_dates import format_dates
from phenology.language.written_days import DATE_ORDERS, DateOrder
from phenology.model.errors import InputError, StageOrderError, UnknownNameError
from phenology.model.operations import Operation
from phenology.model.records import Flush, Look, Place, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage
from phenology.records.entries import kind_of_date, look_changes, work_changes
from phenology.records.record_book import RecordBook
from phenology.species.catalogue import Species
from phenology.species.names import fitting_species


@dataclass(frozen=True)
class Answers:
    """What is said about the files: their subject, header to field, order of day and month, seen or happened.

    `new_trees` adds trees that looks or work name but the garden lacks (None: not said); `usual_order` is the
    garden's and decides where a file does not tell; weeks begin on a day counted from Monday as 0. Without
    `strict` the good rows are planned and the others listed.
    """

    subject: str | None = None
    mapping: Mapping[str, str] = field(default_factory=dict)
    date_order: DateOrder | None = None
    kind: str | None = None
    new_trees: bool | None = None
    usual_order: DateOrder | None = None
    first_weekday: int = 0
    strict: bool = True


def plan_import(
    tables: Sequence[TextTable],
    records: GardenRecords,
    catalogue: Mapping[str, Species],
    calendar: SeasonCalendar,
    *,
    today: date,
    new_id: Callable[[], str],
    answers: Answers | None = None,
) -> ImportPlan:
    """Work out what tables change in a garden, without changing it.

    Raises `TableError` with every row of every table that cannot be used, if asked to be strict or in a
    damaged export; if the columns of a table are not understood; `FileQuestion` if the order of day and
    month, or whether stages were seen or came about then, has to be told first.
    """
    answers = answers or Answers()
    draft = Draft(records, catalogue, calendar, today, new_id)
    answered = answers.subject or answers.mapping
    named = [(table, None if answered else table_of_headers(table.keys)) for table in tables]
    exported = [(table, name) for table, name in named if name]
    by_columns: list[tuple[TextTable, ImportedFile | None]] = [(t, None) for t, name in named if not name]
    for (table, name), report in zip(exported, draft.take_exported(exported), strict=True):
        if name in SUBJECTS:
            at = table.keys.index("id")
            added = tuple(row for row in table.rows if not row[1][at].strip())  # since it was exported
            rest = table if report is None else replace(table, rows=added, ragged=())
            by_columns += [(rest, report)] if rest.rows else []
        elif report is None:
            draft.plan.warn(
                f"{table.file} was passed over: it points at rows that are not here; import the whole export"
            )
    exported_wrong = bool(draft.problems)
    _take_sheets(draft, answers, by_columns)
    draft.plan.problems = sorted(dict.fromkeys(draft.problems), key=lambda p: (p.file, p.line or 0))
    draft.plan.rows.sort(key=lambda row: (row.file, row.line, row.day or date.min))
    if draft.problems and (answers.strict or exported_wrong):
        raise TableError(draft.plan.problems)
    return draft.plan


def _take_sheets(
    draft: Draft, answers: Answers, tables: Sequence[tuple[TextTable, ImportedFile | None]]
) -> None:
    """Read tables by their columns: places first, then trees, then looks and work together."""
    said = {"order": answers.date_order, "kind": answers.kind}
    options = {name: value for name, value in said.items() if value}
    roster, maps = draft.roster(), draft.of(ImportMap)[::-1]  # newest first
    known = Known(
        cache(lambda cell: _is_tree(cell, roster, draft.today)),
        cache(lambda cell: bool(cell.strip() and fitting_species(cell, draft.catalogue))),
    )
    sheets: list[tuple[Sheet, ImportedFile | None]] = []
    headed = {key for table, _ in tables for key in table.keys}
    for table, report in tables:
        draft.refuse_ragged(table)
        elsewhere = headed - set(table.keys)  # what was said of the columns of another file
        try:
            sheet = read_sheet(
                table,
                subject=answers.subject,
                said={h: name for h, name in answers.mapping.items() if header_key(h) not in elsewhere},
                options=options,
                remembered=maps,
                known=known,
            )
        except TableError as error:
            if not table.is_one_of_several:
                raise
            draft.pass_over(table, str(error))
            continue
        kept = to_remember(sheet, draft.new_id()) if report is None else None
        if kept is not None:
            draft.add(kept)
        sheets.append((sheet, report))
    dated: list[tuple[Row, ImportedFile]] = []
    for sheet, there in sorted(sheets, key=lambda s: ("place", "tree", "look", "work").index(s[0].subject)):
        report = there or ImportedFile(
            sheet.table.file, sheet.subject, remembered=sheet.remembered is not None
        )
        report.columns = dict(zip(sheet.table.headers, sheet.mapping.values(), strict=True))
        draft.plan.reports += [] if there else [report]
        draft.plan.open_columns += [
            (
                sheet.table.file,
                sheet.table.headers[n],
                next(filter(is_dated, (cells[n] for _, cells in sheet.table.rows)), ""),
            )
            for n, name in enumerate(sheet.mapping.values())
            if name == OPEN
        ]
        dates = DateReader(draft.today, draft.calendar, _order(sheet, draft, answers), answers.first_weekday)
        take = {"place": _take_place, "tree": _take_tree}.get(sheet.subject)
        for row in sheet.rows(dates):
            if row.values.get("unknown"):
                draft.note(row, "unknown")
            elif row.problems:
                draft.leave(row, row.problems)
            elif take is None:
                dated.append((row, report))
            else:
                try:
                    take(row, report, draft)
                except TableError as error:
                    draft.leave(row, error.problems)
    _Entries(dated, draft, new_trees=bool(answers.new_trees)).take()


def _is_tree(cell: str, roster: Roster, on: date) -> bool:
    """Whether a cell names trees of the garden."""
    try:
        return bool(select_trees(cell, roster, on=on))
    except InputError:
        return False


def _order(sheet: Sheet, draft: Draft, answers: Answers) -> DateOrder | None:
    """The order of day and month said or remembered, else proved by the file, else the garden's, and told."""
    said = next((order for order in DATE_ORDERS if order == sheet.options.get("order")), None)
    try:
        return said or sheet.date_order()
    except FileQuestion as question:
        usual = answers.usual_order
        if usual is None or isinstance(question, MixedOrders):
            raise
        draft.plan.warn(
            f"{sheet.table.file}: dates read {usual}, as this garden has them; --date-order says otherwise"
        )
        return usual


def _take_place(row: Row, report: ImportedFile, draft: Draft) -> None:
    name = plain_name(row.values["name"])
    if any(name_key(p.name) == name_key(name) for p in draft.of(Place)):
        report.there += 1
        draft.note(row, "there", name)
        return
    draft.add(row.make(Place, draft.new_id(), name))
    draft.note(row, "new", name)
    report.added += 1


def _take_tree(row: Row, report: ImportedFile, draft: Draft) -> None:
    label, named, places = row.values["label"], row.values["place"], draft.of(Place)
    species = row.understood("species", lambda text: species_named(text, draft.catalogue))
    there = next((t for t in draft.of(Tree) if name_key(t.label) == name_key(label)), None)
    if there is not None and there.species != species:
        advice = f"the garden's {there.label} is a {there.species}; give this tree another label"
        raise TableError([row.problem("label", advice)])
    if there is not None:
        report.there += 1
        draft.note(row, "there", there.label)
        return
    place = next((p for p in places if named and name_key(p.name) == name_key(named)), None)
    if named and place is None:
        near = difflib.get_close_matches(named, [p.name for p in places], n=2)
        raise TableError([row.problem("place", UnknownNameError("place", named, near))])
    draft.add_tree(row.make(Tree, draft.new_id(), plain_name(label), species), place, row.values["aim"])
    draft.note(row, "new", f"{plain_name(label)}, {species}")
    report.added += 1


class _Entries:
    """Looks and work of all sheets, each tree's taken in in the order of their dates, a look before work."""

    def __init__(self, dated: list[tuple[Row, ImportedFile]], draft: Draft, *, new_trees: bool) -> None:
        self.draft = draft
        for row, _ in dated:
            if isinstance(row.event, Stage):
                row.values["kind"] = _kind(row)
        self.dated = dated
        looks, works = draft.of(Look), draft.of(Work)
        self.book = RecordBook(draft.calendar, draft.of(Flush), looks, works)
        self.known = {*map(_key, looks), *map(_key, works)}
        self.days = cache(format_dates)
        in_order = sorted((row for row, _ in dated), key=lambda row: (row.sheet.table.file, row.line))
        species: dict[str, str] = {}
        for row in in_order:
            key = name_key(row.values["tree"])
            species[key] = species.get(key) or row.values["species"] or ""
        self.trees = TreeReader(draft, species, new_trees)
        for text, on in {row.values["tree"]: row.values["latest"] for row in in_order}.items():
            with suppress(InputError):  # new trees are planned in the order of the files
                self.trees.read(text, on)

    def take(self) -> None:
        """Plan them, tree after tree; what cannot stand is left out."""
        by_tree: dict[str, list[tuple[Row, Tree, ImportedFile]]] = {}
        for row, report in self.dated:
            try:
                trees = self.trees.read(row.values["tree"], row.values["latest"])
            except InputError as error:
                problem = row.problem("species" if isinstance(error, SpeciesError) else "tree", error)
                asks = problem.asks or isinstance(error, SpeciesError | NewTreeError)
                about = getattr(error, "about", "")
                self.draft.leave(row, [replace(problem, asks=asks, about=about)])
                continue
            for tree in trees:
                by_tree.setdefault(tree.id, []).append((row, tree, report))
        self.dated.clear()  # each row goes when it has been taken, for very many take much memory
        for id in list(by_tree):
            for row, tree, report in sorted(by_tree.pop(id), key=lambda entry: _place_in_time(entry[0])):
                try:
                    self._take(row, tree, report)
                except StageOrderError as error:
                    first = str(error).split(". A new flush")[0]
                    advice = f"{first}; if it is a new flush write its number (2, 3, ...) in a column 'flush'"
                    problem = replace(row.problem(row.sheet.what, advice), asks=True)
                    self.draft.leave(row, [problem], tree)
                except InputError as error:
                    self.draft.leave(row, [row.problem("date", error)], tree)

    def _take(self, row: Row, tree: Tree, report: ImportedFile) -> None:
        """Plan the look or work of one tree; raises where it cannot stand."""
        draft, event, values = self.draft, row.event, row.values
        today, new_id, calendar = draft.today, draft.new_id, draft.calendar
        around = self.book.around(tree.id, tree.label, values["latest"])
        entry: Look | Work
        if isinstance(event, Stage):
            entry = row.make(Look, new_id(), tree.id, "", event)
            if _is_plain_date(row) and (kind := kind_of_date(entry, around, today)) != entry.kind:
                entry = replace(entry, kind=kind)
        else:
            entry = row.make(Work, new_id(), tree.id, event)
        said = f"{tree.label}: {event}, {self.days(entry.earliest, entry.latest)}"
        if _key(entry) in self.known:
            report.there += 1
            draft.note(row, "there", said)
            return
        if isinstance(entry, Work):
            changes = work_changes(entry, around, calendar, today=today, new_id=new_id)
        else:
            number = values["flush"]
            changes = look_changes(entry, around, calendar, today=today, new_id=new_id, number=number)
        self.known.add(_key(entry))
        self.book.apply(changes)
        draft.plan.save += changes.save
        report.added += 1
        report.others += isinstance(entry, Work) == (report.table == "look")
        draft.note(row, "new", said)


def _place_in_time(row: Row) -> tuple[date, date, bool]:
    return row.values["latest"], row.values["earliest"], isinstance(row.event, Operation)


def _kind(row: Row) -> str:
    """Whether a look's stage was seen or happened: by its cell, its date's words or its file, else asked."""
    kind: str | None = row.values["kind"] or row.values["date"].hint or row.sheet.options.get("kind")
    if kind is None:
        message = (
            f"{row.sheet.table.file}, line {row.line}: '{row.texts['date']}' may be when "
            f"{row.event} was seen or when it came about; "
            "say --kind seen or --kind happened for the file"
        )
        raise FileQuestion("kind", ("seen", "happened"), message)
    return kind


def _is_plain_date(row: Row) -> bool:
    """Whether neither file, cell nor date say if a stage was seen or happened on a day."""
    said = row.texts.get("kind") or row.sheet.options.get("kind")
    return not said and row.values["earliest"] == row.values["latest"]


def _key(entry: Look | Work) -> tuple[object, ...]:
    """What makes two looks, or two pieces of work, one and the same."""
    what = (entry.stage, entry.kind, entry.lost) if isinstance(entry, Look) else entry.operation
    return (entry.tree_id, what, entry.earliest, entry.latest, entry.part)
