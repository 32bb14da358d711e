"""Files taken into a garden: planned, then saved as one change. Nobody is asked here, nothing printed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from data_sources.garden import new_id
from data_sources.journal_questions import all_records
from data_sources.tables.garden_tables import FILES
from data_sources.tables.import_draft import ImportedFile, ImportPlan
from data_sources.tables.notebook import read_notebook
from data_sources.tables.problems import FileQuestion
from data_sources.tables.subjects import PLURALS
from data_sources.tables.table_import import Answers, plan_import
from data_sources.tables.text_table import TextTable, read_table
from phenology.language.written_days import DATE_ORDERS
from phenology.model.errors import InputError
from phenology.model.records import Place
from reports.garden.open_garden import OpenGarden
from reports.views.words import counted

if TYPE_CHECKING:
    from data_sources.weather.store.weather_store import AddReport
    from data_sources.weather_export import ExportedWeather


def garden_answers(garden: OpenGarden, subject: str | None = None) -> Answers:
    """What the garden itself answers about tables, before the grower says more."""
    style = garden.settings.date_style
    return Answers(subject, usual_order=garden.settings.reading_order, first_weekday=style.first_weekday)


def answered(answers: Answers, question: FileQuestion, answer: str) -> Answers:
    """The answers with one more, to a question of an `Intake`; new trees are added at "yes"."""
    if question.what == "date_order":
        return replace(answers, date_order=next(order for order in DATE_ORDERS if order == answer))
    if question.what == "kind":
        return replace(answers, kind=answer)
    if question.what == "column":
        return replace(answers, mapping={**answers.mapping, question.role: answer})
    return replace(answers, new_trees=answer == "yes")


@dataclass
class Intake:
    """What tables bring to a garden: records and the weather of exported folders."""

    tables: Sequence[TextTable]
    answers: Answers
    folders: Sequence[Path] = ()
    plan: ImportPlan = field(default_factory=ImportPlan)  # empty while a question is `needed`
    needed: FileQuestion | None = None  # what has to be answered before the tables can be read
    weather: list[ExportedWeather] = field(default_factory=list)
    # what of the weather cannot be taken, a sentence each without its full stop
    left_out: list[str] = field(default_factory=list)
    # once it is saved, what became of each weather series
    brought: list[AddReport] = field(default_factory=list)
    planned_on: tuple[object, ...] = ()
    batch: str = ""  # once it is saved, the change that wrote its records; empty where none was needed

    @property
    def questions(self) -> list[FileQuestion]:
        """What only the grower can answer, first things first; `answered` takes each answer."""
        if self.needed is not None:
            return [self.needed]
        open_columns = [
            FileQuestion(
                "column", (), f"{header} ({sample}): which stage or work is it (- passes it over)", header
            )
            for _, header, sample in self.plan.open_columns
        ]
        if open_columns or not self.plan.new_trees or self.answers.new_trees is not None:
            return open_columns
        return [FileQuestion("new_trees", ("yes", "no"), "Trees that the garden lacks")]

    @property
    def fresh(self) -> int:
        """Rows that are new or change something."""
        return sum(report.added + report.changed for report in self.plan.reports)

    @property
    def useless(self) -> bool:
        """Whether something is wrong and no row can be taken: the file itself is what has to be mended."""
        return bool(self.plan.problems) and not self.fresh + sum(r.there for r in self.plan.reports)

    @property
    def changed(self) -> bool:
        """Whether saving it has changed, or would change, the garden."""
        return bool(self.plan.save or any(days.changed for days in self.brought))

    def account(self) -> Iterator[str]:
        """What became of each file and series, or would; a sentence each."""
        for warning in (*self.plan.warnings, *self.left_out):
            yield f"Note: {warning}."
        for report in self.plan.reports:
            parts = [_added(report)]
            parts += [f"{report.changed} changed"] if report.changed else []
            parts += [f"{report.there} there already"] if report.there else []
            remembered = " (columns as remembered)" if report.remembered else ""
            yield f"{report.file}: {', '.join(parts)}{remembered}."
        if not self.brought:
            for _, series, origin, *_ in self.weather:
                yield f"{origin.detail}: {counted(int(series.known.sum()), 'days of weather')}."
            return
        for (_, _, origin, *_), days in zip(self.weather, self.brought, strict=True):
            new, there = days.added + days.replaced, days.unchanged + days.kept
            yield f"{origin.detail}: {new:,} new days of weather, {there:,} there already."


def prepare(
    garden: OpenGarden, tables: Sequence[TextTable], answers: Answers, folders: Sequence[Path] = ()
) -> Intake:
    """Work out what tables, and the weather of exported folders, change in a garden.

    Raises `TableError` as `plan_import` does.
    """
    intake = Intake(tables, answers, folders, planned_on=garden.state())
    try:
        intake.plan = plan_import(
            tables,
            all_records(garden.journal),
            garden.catalogue,
            garden.calendar,
            today=garden.today,
            new_id=new_id,
            answers=answers,
        )
    except FileQuestion as question:
        intake.needed = question
        return intake
    if folders:
        from data_sources.weather_export import read_weather_export

        places = {p.id for p in garden.places} | {r.id for r in intake.plan.save if isinstance(r, Place)}
        for one in (one for folder in folders for one in read_weather_export(folder)):
            if one.place in places:
                intake.weather.append(one)
            else:
                intake.left_out.append(
                    f"{one.origin.detail} is left out, for its place is not in this garden; "
                    "add it to one with: flushcast weather add FILE --place NAME"
                )
    return intake


def save(garden: OpenGarden, intake: Intake) -> Intake:
    """Save what was prepared, as one change; returns what was saved.

    Where others wrote meanwhile it is prepared again, and raises `FileQuestion` if that brings up a question.
    Records and weather stand or fall together.
    """
    kept: list[Intake] = []

    def plan() -> Intake:
        fits = garden.state() == intake.planned_on
        now = intake if fits else prepare(garden, intake.tables, intake.answers, intake.folders)
        if now.needed is not None:
            raise now.needed
        return now

    def write(now: Intake) -> None:
        kept.append(now)
        _write(garden, now)

    try:
        garden.settle(plan, write)
    except BaseException:  # the records could not be kept: then the weather is not kept either
        if kept and kept[-1].brought:
            from data_sources.weather_export import take_weather_back

            take_weather_back(garden.folder, kept[-1].weather, kept[-1].brought)
        raise
    return kept[-1]


def _write(garden: OpenGarden, intake: Intake) -> None:
    """Records and weather together: where the weather cannot be kept, the records are not written either."""
    reports = intake.plan.reports
    names = ", ".join(dict.fromkeys(report.file for report in reports))
    label = f"import of {names}: {sum(report.added for report in reports)} rows"
    batch = garden.journal.batch(label, at=garden.now) if intake.plan.save else nullcontext()
    with batch as records:
        if records is not None:
            records.save_all(intake.plan.save)
        if intake.weather:
            from data_sources.weather_export import add_weather

            intake.brought = add_weather(garden.folder, intake.weather, garden.now)
    if intake.plan.save and (newest := garden.journal.newest_change()):
        intake.batch = newest[1]


def _added(report: ImportedFile) -> str:
    """New rows of a file: "2 new looks", "24 new looks, 8 new works"."""
    own, other = PLURALS.get(report.table, f"{report.table} rows"), report.others
    if not other:
        return counted(report.added, f"new {own}")
    kinds = {own: report.added - other, PLURALS["work" if report.table == "look" else "look"]: other}
    return ", ".join(counted(n, f"new {name}") for name, n in kinds.items() if n)


def read_tables(files: Sequence[Path]) -> list[TextTable]:
    """The tables in files; of a folder, those that an export wrote there."""
    tables: list[TextTable] = []
    for file in files:
        if not file.is_dir():
            tables += read_notebook(file)
            continue
        found = [file / name for name in FILES.values() if (file / name).is_file()]
        if not found:
            raise InputError(f"{file} holds no exported tables ({', '.join(FILES.values())})")
        tables += map(read_table, found)
    return tables
