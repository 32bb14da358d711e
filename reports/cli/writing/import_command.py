"""`flushcast import`: years of looks, however they were written down: previewed, asked about, taken in."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import click

from data_sources.tables.columns import IGNORE, OPEN
from data_sources.tables.headers import event_column
from data_sources.tables.import_draft import ImportedFile, ImportedRow, ImportPlan, write_to_mend
from data_sources.tables.problems import FileQuestion, TableError, sentences
from data_sources.tables.table_import import Answers
from data_sources.tables.text_table import TextTable, printable, read_table
from phenology.language.words import find_event
from phenology.language.written_days import DateOrder
from phenology.model.errors import InputError
from phenology.model.stages import Stage
from reports.cli.common import UNDO, ask, may_ask, open_garden_option, say, tell
from reports.entries.intake import Intake, answered, garden_answers, prepare, read_tables, save
from reports.garden.open_garden import OpenGarden
from reports.views.words import counted, set_in

TABLES = {"looks": "look", "works": "work", "trees": "tree", "places": "place"}
ROWS = 12  # rows told of a file before the rest is only counted; all with --dry-run


@click.command("import")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE...")
@click.option(
    "--as", "kind_of_file", type=click.Choice(list(TABLES)), help="What the rows are, if not clear."
)
@click.option(
    "--map",
    "mapping",
    multiple=True,
    metavar="HEADER=FIELD",
    help="What a column is, or which stage or work its dates are; remembered. HEADER=- passes it over.",
)
@click.option("--date-order", type=click.Choice(["day-first", "month-first"]), help="How 4/7/2025 reads.")
@click.option(
    "--kind",
    type=click.Choice(["seen", "happened"]),
    help="What vague dates are: seen so by then, or came about then.",
)
@click.option("--new-trees", is_flag=True, help="Add trees the files name but the garden lacks.")
@click.option("--tree", "trees", metavar="TREES", help="Of photos: which trees they show.")
@click.option("--stage", metavar="STAGE", help="Of photos: which stage they show.")
@click.option("--who", metavar="NAME", help="Of photos: who took them.")
@click.option("--strict", is_flag=True, help="All of it or nothing.")
@click.option("--yes", is_flag=True, help="Take what is understood without asking.")
@click.option("--dry-run", is_flag=True, help="Tell row by row what is understood; change nothing.")
@open_garden_option
def import_command(
    garden: OpenGarden,
    files: tuple[Path, ...],
    kind_of_file: str | None,
    mapping: tuple[str, ...],
    date_order: DateOrder | None,
    kind: str | None,
    new_trees: bool,
    trees: str | None,
    stage: str | None,
    who: str | None,
    strict: bool,
    yes: bool,
    dry_run: bool,
) -> None:
    """Take your notebook, tables or photos in; one undo takes them out again.

    \b
    flushcast import notebook.xlsx
    flushcast import notebook.csv --map "first green=budbreak" --new-trees
    flushcast import exported-folder
    flushcast import photos --tree hornbeams --stage soft

    FILE: looks and work, a row each or a row a season, trees or places, as
    CSV, XLSX or ODS; a folder that `flushcast export` wrote; or photos, or a
    folder of them: the camera tells the day, you say tree and stage.

    What is understood is shown and taken when you say so. Rows that are not go
    to a small sheet beside the file, with the question: mend it there and
    import it.
    """
    from data_sources.look_photos import holds_photos
    from reports.entries.intake import garden_answers

    said = []
    for text in mapping:
        header, equals, field = text.rpartition("=")
        if not equals or not header.strip() or not field.strip():
            raise click.UsageError(f"--map takes HEADER=FIELD, got '{text}'")
        said.append((header.strip(), field.strip()))
    photos = [holds_photos(path) for path in files]
    if any(photos):
        from reports.cli.writing import photo_entry

        if not all(photos):
            raise click.UsageError("import photos and tables one after the other")
        photo_entry.take_in(garden, files, trees, stage, who, may_ask=may_ask(), dry_run=dry_run)
        return
    if trees or stage or who:
        raise click.UsageError("--tree, --stage and --who go with photos; a table has columns for them")
    answers = replace(
        garden_answers(garden, TABLES.get(kind_of_file or "")),
        mapping=dict(said),
        date_order=date_order,
        kind=kind,
        new_trees=new_trees or None,
        strict=strict,
    )
    take_in(garden, files, answers, dry_run=dry_run, yes=yes)


def preview(plan: ImportPlan, *, every_row: bool = False) -> Iterator[str]:
    """Lines for the terminal."""
    for report in plan.reports:
        if not report.columns:
            continue
        yield from _columns(report)
        mine = [row for row in plan.rows if row.file == report.file]
        yield from _rows(mine, len(mine) if every_row else ROWS)
    if plan.new_trees and every_row:  # else they were asked about
        yield "Trees that the garden lacks:"
        yield from (set_in(f"{label}: {species}", 2) for label, species in plan.new_trees.items())
    yield from left_out(plan)


def left_out(plan: ImportPlan) -> Iterator[str]:
    """What is to be asked and what cannot be used, place and reason."""
    unknown = sum(row.fate == "unknown" for row in plan.rows)
    if unknown:
        yield f"{counted(unknown, 'cells')} with a date that is not known, passed over."
    for heading, problems in (
        ("To be told first:", [problem for problem in plan.problems if problem.asks]),
        ("Cannot be used:", [problem for problem in plan.problems if not problem.asks]),
    ):
        if problems:
            yield heading
            yield from (set_in(sentence, 2) for sentence in sentences(problems))


def _columns(report: ImportedFile) -> Iterator[str]:
    """How the columns of a file were understood."""
    meant: dict[str, list[str]] = {}
    for header, name in report.columns.items():
        column = event_column(name)
        if column is not None:
            meant.setdefault("looks" if isinstance(column.event, Stage) else "work", []).append(header)
        elif name not in (IGNORE, OPEN):
            same = header.casefold() == name
            meant.setdefault(name.replace("_", " "), []).append("" if same else header)
    said = [
        f"{', '.join(filter(None, headers))} ({name})" if any(headers) else name
        for name, headers in meant.items()
    ]
    yield set_in(f"{report.file}: {'; '.join(said)}.", 0)
    passed = [header for header, name in report.columns.items() if name == IGNORE]
    if passed:
        yield set_in(f"Columns passed over: {', '.join(passed)}.", 2)


def _rows(rows: Sequence[ImportedRow], most: int) -> Iterator[str]:
    """Rows as they were understood, line by line."""
    taken = sorted((row for row in rows if row.fate in ("new", "there")), key=lambda row: row.line)
    for row in taken[:most]:
        there = " (there already)" if row.fate == "there" else ""
        yield set_in(f"line {row.line}: {row.said}{there}", 2)
    if len(taken) > most:
        yield f"  and {len(taken) - most:,} more, all of them with --dry-run"


def take_sheet_in(garden: OpenGarden, file: Path, *, dry_run: bool) -> None:
    """Save the looks of a filled sheet, all of them or none; rows without a stage are passed over.

    Raises `TableError` if it is no such sheet, or a row that was filled in cannot be used; it is named by its
    line.
    """
    table = read_table(file)
    at = {key: n for n, key in enumerate(table.keys)}
    missing = [name for name in ("date", "tree", "stage") if name not in at]
    if missing:
        raise TableError(
            f"{file.name} lacks the column '{missing[0]}'; make a sheet with flushcast round --csv"
        )
    filled = tuple(row for row in table.rows if row[1][at["stage"]].strip())
    for line, cells in table.rows:
        if (line, cells) not in filled and "note" in at and cells[at["note"]].strip():
            tell(f"{file.name}, line {line}: a note without a stage was passed over.")
    if not filled and not table.problems:
        tell("No stage was filled in; nothing was changed.")
        return
    take_tables_in(garden, [replace(table, rows=filled)], garden_answers(garden, "look"), dry_run=dry_run)


def take_in(
    garden: OpenGarden, files: Sequence[Path], answers: Answers, *, dry_run: bool = False, yes: bool = False
) -> None:
    """Take files in: what is understood is shown and asked about, the rest written beside the file.

    Raises `TableError` with all that is wrong, if nothing can be used, or something cannot and the answers
    are strict.
    """
    folders = [path for path in files if path.is_dir()]
    intake = _prepared(garden, read_tables(files), answers, folders)
    if intake.useless and not dry_run:
        raise TableError(intake.plan.problems)
    asks = may_ask() and not (yes or dry_run or answers.strict)
    if dry_run or asks:
        for line in preview(intake.plan, every_row=dry_run):
            say(line)
    elif intake.plan.problems:
        for line in left_out(intake.plan):
            say(line)
    if asks and intake.fresh and not click.confirm(f"Take these {intake.fresh:,} rows?", True, err=True):
        tell("Nothing was changed.")
        return
    taken = _save_and_tell(garden, intake, dry_run=dry_run)
    if not dry_run:
        _put_beside(taken.plan, files)


def take_tables_in(
    garden: OpenGarden, tables: Sequence[TextTable], answers: Answers, *, dry_run: bool
) -> None:
    """Take tables in without showing first what was understood."""
    _save_and_tell(garden, _prepared(garden, tables, answers), dry_run=dry_run)


def _prepared(
    garden: OpenGarden, tables: Sequence[TextTable], answers: Answers, folders: Sequence[Path] = ()
) -> Intake:
    """The intake of tables with the answers of a grower at a terminal, a strict one to what has to be."""
    while True:
        intake = prepare(garden, tables, answers, folders)
        may_all = may_ask() and not answers.strict
        if not (intake.questions and (intake.needed or may_all)):
            return intake
        for question in intake.questions:
            answers = answered(answers, question, _answer(question, intake.plan))


def _answer(question: FileQuestion, plan: ImportPlan) -> str:
    if question.what == "column":
        told: str = click.prompt(str(question), value_proc=_meaning, err=True)
        return told
    if question.what == "new_trees":
        say(f"{question}:")
        for label, species in plan.new_trees.items():
            say(f"  {label}: {species}")
        return "yes" if click.confirm("Add them?", default=True, err=True) else "no"
    return ask(question)


def _meaning(text: str) -> str:
    """A stage or work as typed, or "-"."""
    if text.strip() == IGNORE:
        return IGNORE
    try:
        return str(find_event(text))
    except InputError as error:
        raise click.UsageError(str(error)) from None


def _save_and_tell(garden: OpenGarden, intake: Intake, *, dry_run: bool) -> Intake:
    taken = intake if dry_run else save(garden, intake)
    for sentence in taken.account():
        tell(sentence)
    if dry_run:
        tell("Only checked; nothing was changed.")
    elif not taken.changed:
        tell("Nothing new; nothing was changed.")
    else:
        back = [UNDO] if taken.plan.save else []
        if any(days.changed for days in taken.brought):
            back.append("Undo weather, a file at a time:\u00a0flushcast\u00a0weather\u00a0undo")
        tell(". ".join(back))
    return taken


def _put_beside(plan: ImportPlan, files: Sequence[Path]) -> None:
    """Write the rows that were left out to a sheet beside the file, and say how it goes on."""
    for file in files:
        name = printable(file.name)
        rows = [row for row in plan.left_out if row.file == name or row.file.startswith(f"{name}, sheet ")]
        stem = re.sub(r"(-trees|-places)?-to-mend(-\d+)?$", "", file.stem)
        for path in write_to_mend(file.parent, stem, rows) if rows else ():
            tell(
                f"{counted(len(rows), 'rows')} left out, with the question, in {path}. Mend them there, "
                f"then:\u00a0flushcast\u00a0import\u00a0{path.name}"
            )
