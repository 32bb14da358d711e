"""An import at the terminal: asked about, shown, its account told, rows left out written beside the file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import click

from data_sources.tables.columns import IGNORE
from data_sources.tables.import_draft import ImportPlan
from data_sources.tables.import_rows import write_to_mend
from data_sources.tables.problems import FileQuestion, TableError
from data_sources.tables.table_import import Answers
from data_sources.tables.text_table import TextTable, printable
from phenology.language.words import find_event
from phenology.model.errors import InputError
from reports.cli.common import may_ask, say, tell
from reports.cli.file_questions import ask
from reports.cli.writing.import_preview import left_out, preview
from reports.cli.writing.record_editor import UNDO
from reports.entries.intake import Intake, answered, prepare, read_tables, save
from reports.garden.open_garden import OpenGarden
from reports.text.words import counted


def take_in(
    garden: OpenGarden, files: Sequence[Path], answers: Answers, *, dry_run: bool = False, yes: bool = False
) -> None:
    """Take files in: what is understood is shown and asked about, the rest written beside the file.

    Raises
    ------
    TableError
        With all that is wrong, if nothing can be used, or something cannot and the answers are strict.
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
