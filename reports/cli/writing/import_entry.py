"""An import of tables: planned, what was understood shown, carried out, the rest written beside."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from data_sources.garden import new_id
from data_sources.journal_questions import all_records
from data_sources.tables.columns import IGNORE
from data_sources.tables.garden_tables import FILES
from data_sources.tables.import_draft import ImportedFile, ImportPlan
from data_sources.tables.import_rows import write_to_mend
from data_sources.tables.notebook import read_notebook
from data_sources.tables.problems import TableError
from data_sources.tables.subjects import PLURALS
from data_sources.tables.table_import import Answers, plan_import
from data_sources.tables.text_table import TextTable, printable, read_table
from phenology.language.words import find_event
from phenology.language.written_days import DATE_ORDERS
from phenology.model.errors import InputError
from phenology.model.records import Place
from reports.cli.common import may_ask, say, tell
from reports.cli.file_questions import asking
from reports.cli.writing.import_preview import left_out, preview
from reports.cli.writing.record_editor import UNDO
from reports.garden.open_garden import OpenGarden
from reports.text.words import counted

if TYPE_CHECKING:
    from data_sources.weather.store.weather_store import AddReport
    from data_sources.weather_export import ExportedWeather


def garden_answers(garden: OpenGarden, subject: str | None = None) -> Answers:
    """What the garden itself answers about tables, before the grower says more."""
    style = garden.settings.date_style
    return Answers(subject, usual_order=garden.settings.reading_order, first_weekday=style.first_weekday)


@dataclass
class Import:
    """What an import saves: records, and the weather of exported folders, with what became of it."""

    plan: ImportPlan
    weather: list[ExportedWeather]
    left_out: list[str]
    brought: list[AddReport] = field(default_factory=list)


def planned(
    garden: OpenGarden, tables: Sequence[TextTable], answers: Answers, said: dict[str, str | None]
) -> ImportPlan:
    """The plan of an import; at a terminal the order of dates and their kind are asked, kept in `said`."""

    def plan() -> ImportPlan:
        order = next((order for order in DATE_ORDERS if order == said["date_order"]), None)
        return plan_import(
            tables,
            all_records(garden.journal),
            garden.catalogue,
            garden.calendar,
            today=garden.today,
            new_id=new_id,
            answers=replace(answers, date_order=order, kind=said["kind"]),
        )

    return asking(plan, lambda question, answer: said.update({question.what: answer}))


def take_in(
    garden: OpenGarden, files: Sequence[Path], answers: Answers, *, dry_run: bool = False, yes: bool = False
) -> None:
    """Take files in: what is understood is shown and asked about, the rest written beside the file.

    Raises
    ------
    TableError
        With all that is wrong, if nothing can be used, or something cannot and the answers are strict.
    """
    tables = read_tables(files)
    said: dict[str, str | None] = {"date_order": answers.date_order, "kind": answers.kind}
    answers = _answered(garden, tables, answers, said)
    asks = may_ask() and not (yes or dry_run or answers.strict)
    plan = planned(garden, tables, answers, said)
    taken = sum(report.added + report.changed + report.there for report in plan.reports)
    if plan.problems and not taken and not dry_run:  # the file itself is what has to be mended
        raise TableError(plan.problems)
    if dry_run or asks:
        for line in preview(plan, every_row=dry_run):
            say(line)
    elif plan.problems:
        for line in left_out(plan):
            say(line)
    fresh = sum(report.added + report.changed for report in plan.reports)
    if asks and fresh and not click.confirm(f"Take these {fresh:,} rows?", default=True, err=True):
        tell("Nothing was changed.")
        return
    folders = [path for path in files if path.is_dir()]
    save_tables(garden, tables, answers, said, folders=folders, dry_run=dry_run)
    if not dry_run:
        _put_beside(plan, files)


def _answered(
    garden: OpenGarden, tables: Sequence[TextTable], answers: Answers, said: dict[str, str | None]
) -> Answers:
    """The answers with what a grower at a terminal says of columns of dates and of new trees."""
    if not may_ask() or answers.strict:
        return answers
    plan = planned(garden, tables, answers, said)
    mapping = dict(answers.mapping)
    for _, header, sample in plan.open_columns:
        mapping[header] = click.prompt(
            f"{header} ({sample}): which stage or work is it (- passes it over)",
            value_proc=_meaning,
            err=True,
        )
    if plan.open_columns:
        answers = replace(answers, mapping=mapping)
        plan = planned(garden, tables, answers, said)
    if plan.new_trees and not answers.new_trees:
        say("Trees that the garden lacks:")
        for label, species in plan.new_trees.items():
            say(f"  {label}: {species}")
        answers = replace(answers, new_trees=click.confirm("Add them?", default=True, err=True))
    return answers


def _meaning(text: str) -> str:
    """A stage or work as typed, or "-"."""
    if text.strip() == IGNORE:
        return IGNORE
    try:
        return str(find_event(text))
    except InputError as error:
        raise click.UsageError(str(error)) from None


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


def _names(plan: ImportPlan) -> list[str]:
    return list(dict.fromkeys(report.file for report in plan.reports))


def save_tables(
    garden: OpenGarden,
    tables: Sequence[TextTable],
    answers: Answers,
    said: dict[str, str | None] | None = None,
    *,
    folders: Sequence[Path] = (),
    dry_run: bool = False,
) -> None:
    """Save what tables say as one batch, with the weather of exported folders, and tell what became of it."""
    answered = said if said is not None else {"date_order": answers.date_order, "kind": answers.kind}

    def draft() -> Import:
        plan = planned(garden, tables, answers, answered)
        return Import(plan, *_weather(garden, plan, folders))

    def write(taken: Import) -> None:
        taken.brought = brought[:] = _save(garden, taken.plan, taken.weather)
        added[:] = taken.weather

    added: list[ExportedWeather] = []
    brought: list[AddReport] = []
    try:
        taken = draft() if dry_run else garden.settle(draft, write, asks=may_ask())
    except BaseException:  # the records could not be kept: then the weather is not kept either
        if brought:
            from data_sources.weather_export import take_weather_back

            take_weather_back(garden.folder, added, brought)
        raise
    assert taken is not None  # no question of an import gives it up
    plan, weather = taken.plan, taken.weather
    for warning in (*plan.warnings, *taken.left_out):
        tell(f"Note: {warning}.")
    for report in plan.reports:
        parts = [_added(report)]
        parts += [f"{report.changed} changed"] if report.changed else []
        parts += [f"{report.there} there already"] if report.there else []
        remembered = " (columns as remembered)" if report.remembered else ""
        tell(f"{report.file}: {', '.join(parts)}{remembered}.")
    if dry_run:
        for _, series, origin, *_ in weather:
            tell(f"{origin.detail}: {counted(int(series.known.sum()), 'days of weather')}.")
        tell("Only checked; nothing was changed.")
        return
    for (_, _, origin, *_), days in zip(weather, brought, strict=True):
        new, there = days.added + days.replaced, days.unchanged + days.kept
        tell(f"{origin.detail}: {new:,} new days of weather, {there:,} there already.")
    if not plan.save and not any(days.changed for days in brought):
        tell("Nothing new; nothing was changed.")
        return
    back = [UNDO] if plan.save else []
    if any(days.changed for days in brought):
        back.append("Undo weather, a file at a time:\u00a0flushcast\u00a0weather\u00a0undo")
    tell(". ".join(back))


def _added(report: ImportedFile) -> str:
    """New rows of a file: "2 new looks", "24 new looks, 8 new works"."""
    own, other = PLURALS.get(report.table, f"{report.table} rows"), report.others
    if not other:
        return f"{report.added} new {own}" if report.added != 1 else f"1 new {own.removesuffix('s')}"
    kinds = {own: report.added - other, PLURALS["work" if report.table == "look" else "look"]: other}
    return ", ".join(
        f"{n} new {name if n != 1 else name.removesuffix('s')}" for name, n in kinds.items() if n
    )


def _weather(
    garden: OpenGarden, plan: ImportPlan, folders: Sequence[Path]
) -> tuple[list[ExportedWeather], list[str]]:
    """The weather in exported folders, of the places that are here or come with them; what is left out."""
    from data_sources.weather_export import read_weather_export

    places = {p.id for p in garden.places} | {r.id for r in plan.save if isinstance(r, Place)}
    found = [one for folder in folders for one in read_weather_export(folder)]
    left_out = [
        f"{origin.detail} is left out, for its place is not in this garden; "
        "add it to one with: flushcast weather add FILE --place NAME"
        for place, _, origin, *_ in found
        if place not in places
    ]
    return [one for one in found if one[0] in places], left_out


def _save(garden: OpenGarden, plan: ImportPlan, weather: Sequence[ExportedWeather]) -> list[AddReport]:
    """Records and weather together: where the weather cannot be kept, the records are not written either."""
    from data_sources.weather_export import add_weather

    at = garden.now
    if not plan.save:
        return add_weather(garden.folder, weather, at)
    added = sum(r.added for r in plan.reports)
    names = ", ".join(dict.fromkeys(r.file for r in plan.reports))
    with garden.journal.batch(f"import of {names}: {added} rows", at=at) as batch:
        batch.save_all(plan.save)
        return add_weather(garden.folder, weather, at)


def read_tables(files: Sequence[Path]) -> list[TextTable]:
    """The tables in files; of a folder, those that an export wrote there."""
    paths: list[Path] = []
    for file in files:
        if not file.is_dir():
            paths.append(file)
            continue
        found = [file / name for name in FILES.values() if (file / name).is_file()]
        if not found:
            raise InputError(f"{file} holds no exported tables ({', '.join(FILES.values())})")
        paths += found
    return [
        table
        for path in paths
        for table in ([read_table(path)] if path.parent in files else read_notebook(path))
    ]
