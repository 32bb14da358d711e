"""Planning and carrying out an import of tables."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from data_sources.garden import new_id
from data_sources.journal_questions import all_records
from data_sources.tables.garden_tables import FILES
from data_sources.tables.import_draft import ImportPlan
from data_sources.tables.subjects import PLURALS
from data_sources.tables.table_import import Answers, plan_import
from data_sources.tables.text_table import TextTable, read_table
from phenology.language.written_days import DATE_ORDERS
from phenology.model.errors import InputError
from phenology.model.records import Place
from reports.cli.common import may_ask, tell
from reports.cli.file_questions import asking
from reports.cli.writing.record_editor import UNDO
from reports.garden.open_garden import OpenGarden
from reports.text.lines import counted

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
    garden: OpenGarden,
    tables: Sequence[TextTable],
    answers: Answers,
    *,
    folders: Sequence[Path] = (),
    dry_run: bool = False,
) -> None:
    """Save what tables say as one batch, with the weather of exported folders, and tell what became of it."""
    said: dict[str, str | None] = {"date_order": answers.date_order, "kind": answers.kind}

    def draft() -> Import:
        plan = planned(garden, tables, answers, said)
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
        parts = [f"{report.added} new {PLURALS.get(report.table, report.table + ' rows')}"]
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
    return [read_table(path) for path in paths]
