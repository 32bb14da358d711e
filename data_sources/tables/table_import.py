"""Taking spreadsheets and exports into a garden: all of them or nothing.

Every bad row is told at once; rows already there are recognised. A table that `garden_tables` exported is
taken as it stands, ids and all, when all it points at is there; any other is read by its columns.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from data_sources.journal.schema import ImportMap
from data_sources.tables.dates import DateReader
from data_sources.tables.garden_tables import GardenRecords, table_of_headers
from data_sources.tables.import_draft import Draft, ImportedFile, ImportPlan, species_named
from data_sources.tables.problems import SHOWN, FileQuestion, TableError
from data_sources.tables.sheet import Row, Sheet, read_sheet, to_remember
from data_sources.tables.subjects import SUBJECTS
from data_sources.tables.text_table import TextTable
from phenology.language.plain_names import name_key, plain_name
from phenology.language.tree_selection import select_trees
from phenology.language.written_days import DATE_ORDERS, DateOrder
from phenology.model.errors import InputError, StageOrderError, UnknownNameError
from phenology.model.records import Flush, Look, Place, Stand, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.records.entries import Changes, kind_of_date, look_changes, work_changes
from phenology.records.flushes import TreeRecord
from phenology.records.record_book import RecordBook
from phenology.species.catalogue import Species


@dataclass(frozen=True)
class Answers:
    """What is said about the files: their subject, header to field, order of day and month, seen or happened.

    `new_trees` adds trees that looks or work name but the garden lacks; `usual_order` is the garden's and
    decides where a file does not tell; weeks begin on a day counted from Monday as 0.
    """

    subject: str | None = None
    mapping: Mapping[str, str] = field(default_factory=dict)
    date_order: DateOrder | None = None
    kind: str | None = None
    new_trees: bool = False
    usual_order: DateOrder | None = None
    first_weekday: int = 0


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

    Raises
    ------
    TableError
        With every row of every table that cannot be used, or if the columns of one are not understood.
    FileQuestion
        If the order of day and month, or whether stages were seen or came about then, has to be told first.
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
    _take_sheets(draft, answers, by_columns)
    if draft.problems:
        raise TableError(sorted(dict.fromkeys(draft.problems), key=lambda p: (p.file, p.line or 0)))
    return draft.plan


def _take_sheets(
    draft: Draft, answers: Answers, tables: Sequence[tuple[TextTable, ImportedFile | None]]
) -> None:
    """Read tables by their columns: places first, then trees, then looks and work together."""
    said = {"order": answers.date_order, "kind": answers.kind}
    options = {name: value for name, value in said.items() if value}
    sheets: list[tuple[Sheet, ImportedFile | None]] = []
    for table, report in tables:
        draft.problems += table.problems
        maps = draft.of(ImportMap)[::-1]  # newest first
        sheet = read_sheet(
            table, subject=answers.subject, said=answers.mapping, options=options, remembered=maps
        )
        kept = to_remember(sheet, draft.new_id()) if report is None else None
        if kept is not None:
            draft.add(kept)
        sheets.append((sheet, report))
    dated: list[tuple[Row, ImportedFile]] = []
    for sheet, known in sorted(sheets, key=lambda s: ("place", "tree", "look", "work").index(s[0].subject)):
        report = known or ImportedFile(
            sheet.table.file, sheet.subject, remembered=sheet.remembered is not None
        )
        draft.plan.reports += [] if known else [report]
        dates = DateReader(draft.today, draft.calendar, _order(sheet, draft, answers), answers.first_weekday)
        take = {"place": _take_place, "tree": _take_tree}.get(sheet.subject)
        for row in sheet.rows(dates, draft.problems):
            if take is None:
                dated.append((row, report))
            else:
                with draft.gathering():
                    take(row, report, draft)
    _take_dated(dated, draft, new_trees=answers.new_trees)


def _order(sheet: Sheet, draft: Draft, answers: Answers) -> DateOrder | None:
    """The order of day and month said or remembered, else proved by the file, else the garden's, and told."""
    said = next((order for order in DATE_ORDERS if order == sheet.options.get("order")), None)
    try:
        return said or sheet.date_order()
    except FileQuestion:
        usual = answers.usual_order
        if usual is None:
            raise
        draft.plan.warn(
            f"{sheet.table.file}: dates read {usual}, as this garden has them; --date-order says otherwise"
        )
        return usual


def _take_place(row: Row, report: ImportedFile, draft: Draft) -> None:
    if any(name_key(p.name) == name_key(row.values["name"]) for p in draft.of(Place)):
        report.there += 1
        return
    draft.add(row.make(Place, draft.new_id(), plain_name(row.values["name"])))
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
        return
    place = next((p for p in places if named and name_key(p.name) == name_key(named)), None)
    if named and place is None:
        near = difflib.get_close_matches(named, [p.name for p in places], n=2)
        raise TableError([row.problem("place", UnknownNameError("place", named, near))])
    draft.add_tree(row.make(Tree, draft.new_id(), plain_name(label), species), place, row.values["aim"])
    report.added += 1


def _take_dated(dated: list[tuple[Row, ImportedFile]], draft: Draft, *, new_trees: bool) -> None:
    """Looks and work in the order of their dates, a look before work of its day."""
    for row, _ in dated:
        if row.sheet.subject == "look":
            row.values["kind"] = _kind(row)
    book = RecordBook(draft.calendar, draft.of(Flush), draft.of(Look), draft.of(Work))
    known = {_key(look) for look in draft.of(Look)} | {_key(work) for work in draft.of(Work)}
    dated.sort(key=lambda d: (d[0].values["latest"], d[0].values["earliest"], d[0].sheet.subject == "work"))
    roster = draft.roster()
    for row, report in dated:
        trees: Sequence[Tree] = ()
        with draft.gathering():
            try:
                # of very many rows that cannot be read only the first are told
                added = new_trees and row.values["species"]
                suggest = not added and len(draft.problems) < SHOWN
                trees = select_trees(row.values["tree"], roster, on=row.values["latest"], suggest=suggest)
            except InputError as error:
                tree, stands = _new_tree(row, draft, error, asked=new_trees)
                trees, roster = [tree], roster.with_tree(tree, stands)
        for tree in trees:
            id = draft.new_id()
            entry = row.make(Look, id, tree.id, "") if "stage" in row.values else row.make(Work, id, tree.id)
            around = book.around(tree.id, tree.label, entry.latest)
            if isinstance(entry, Look) and _is_plain_date(row):
                entry = replace(entry, kind=kind_of_date(entry, around, draft.today))
            if _key(entry) in known:
                report.there += 1
                continue
            known.add(_key(entry))
            with draft.gathering():
                changes = _changes(entry, row, around, draft)
                book.apply(changes)
                draft.plan.save += changes.save
                report.added += 1


def _changes(entry: Look | Work, row: Row, around: TreeRecord, draft: Draft) -> Changes:
    """What writing an entry down changes."""
    today, new_id = draft.today, draft.new_id
    try:
        if isinstance(entry, Work):
            return work_changes(entry, around, draft.calendar, today=today, new_id=new_id)
        number = row.values["flush"]
        return look_changes(entry, around, draft.calendar, today=today, new_id=new_id, number=number)
    except StageOrderError as error:
        first = str(error).split(". A new flush")[0]
        advice = f"{first}; if it is a new flush write its number (2, 3, ...) in a column 'flush'"
        raise TableError([row.problem("stage", advice)]) from None
    except InputError as error:
        raise TableError([row.problem("date", error)]) from None


def _kind(row: Row) -> str:
    """Whether a look's stage was seen or happened: by its cell, its date's words or its file, else asked."""
    kind: str | None = row.values["kind"] or row.values["date"].hint or row.sheet.options.get("kind")
    if kind is None:
        message = (
            f"{row.sheet.table.file}, line {row.line}: '{row.texts['date']}' may be when "
            f"{row.values['stage']} was seen or when it came about; "
            "say --kind seen or --kind happened for the file"
        )
        raise FileQuestion("kind", ("seen", "happened"), message)
    return kind


def _is_plain_date(row: Row) -> bool:
    """Whether neither file, cell nor date say if a stage was seen or happened on a day."""
    said = row.texts.get("kind") or row.sheet.options.get("kind")
    return not said and row.values["earliest"] == row.values["latest"]


def _new_tree(row: Row, draft: Draft, error: InputError, *, asked: bool) -> tuple[Tree, list[Stand]]:
    """The tree a row names but the garden lacks, added if the grower asked for that, and where it stands."""
    if not asked or not row.values["species"]:
        more = "to add it the row needs a species" if asked else "--new-trees adds trees that a file names"
        raise TableError([row.problem("tree", f"{error}; {more}")])
    species = row.understood("species", lambda text: species_named(text, draft.catalogue))
    tree = Tree(draft.new_id(), plain_name(row.values["tree"]), species)
    return tree, draft.add_tree(tree, None)


def _key(entry: Look | Work) -> tuple[object, ...]:
    """What makes two looks, or two pieces of work, one and the same."""
    what = (entry.stage, entry.kind, entry.lost) if isinstance(entry, Look) else entry.operation
    return (entry.tree_id, what, entry.earliest, entry.latest, entry.part)
