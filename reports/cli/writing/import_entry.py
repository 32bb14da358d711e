"""Planning and carrying out an import, asking what only the grower knows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from data_sources.garden import new_id
from data_sources.journal_questions import all_records
from data_sources.tables.columns import PLURALS
from data_sources.tables.import_draft import ImportPlan
from data_sources.tables.table_import import Asked, KindUnclearError, plan_import
from phenology.language.vague_dates import AmbiguousDateError
from phenology.model.errors import InputError
from phenology.model.records import Place
from reports.cli.common import tell
from reports.cli.writing.record_editor import UNDO
from reports.garden.open_garden import OpenGarden
from reports.text.lines import counted

if TYPE_CHECKING:
    from data_sources.weather.store.weather_store import AddReport, Origin
    from phenology.weather.series import DailyWeather

__all__ = ["Asked", "carry_out", "planned"]


def planned(garden: OpenGarden, files: Sequence[Path], asked: Asked, *, may_ask: bool) -> ImportPlan:
    """The plan of an import; at a terminal the order of dates and their kind are asked once each."""
    paths = _csv_files(files)
    for _ in range(3):
        try:
            return plan_import(
                paths,
                all_records(garden.journal),
                garden.catalogue,
                garden.calendar,
                today=garden.today,
                new_id=new_id,
                asked=asked,
            )
        except AmbiguousDateError as error:
            if not may_ask or "do not agree" in str(error):
                raise
            tell(f"{error}.")
            day = click.confirm("Day first?", default=True, err=True)
            asked = replace(asked, order="day-first" if day else "month-first")
        except KindUnclearError as error:
            if not may_ask:
                raise
            tell(f"{error}.")
            kind = click.prompt("Which", type=click.Choice(["seen", "happened"]), default="seen", err=True)
            asked = replace(asked, kind=kind)
    raise InputError("the dates of these files could not be settled; give --date-order and --kind")


def carry_out(garden: OpenGarden, plan: ImportPlan, files: Sequence[Path], *, dry_run: bool) -> None:
    """Save a plan as one batch, with the weather of exported folders, and tell what became of each file."""
    weather = _weather(garden, plan, files)
    for warning in plan.warnings:
        tell(f"Note: {warning}.")
    for report in plan.reports:
        parts = [f"{report.added} new {PLURALS.get(report.table, report.table + ' rows')}"]
        parts += [f"{report.changed} changed"] if report.changed else []
        parts += [f"{report.there} there already"] if report.there else []
        remembered = " (columns as remembered)" if report.remembered else ""
        tell(f"{report.file}: {', '.join(parts)}{remembered}.")
    if dry_run:
        for _, series, origin in weather:
            tell(f"{origin.detail}: {counted(int(series.known.sum()), 'days of weather')}.")
        tell("Only checked; nothing was changed.")
        return
    brought = _save(garden, plan, weather)
    for (_, _, origin), days in zip(weather, brought, strict=True):
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
    garden: OpenGarden, plan: ImportPlan, files: Sequence[Path]
) -> list[tuple[str, DailyWeather, Origin]]:
    """The weather in exported folders, of the places that are here or come with them."""
    from data_sources.weather_export import read_weather_export

    places = {p.id for p in garden.places} | {r.id for r in plan.save if isinstance(r, Place)}
    found = [one for folder in files if folder.is_dir() for one in read_weather_export(folder)]
    for place, _, origin in found:
        if place not in places:
            tell(
                f"Note: {origin.detail} is left out, for its place is not in this garden; "
                "add it to one with: flushcast weather add FILE --place NAME."
            )
    return [one for one in found if one[0] in places]


def _save(
    garden: OpenGarden, plan: ImportPlan, weather: Sequence[tuple[str, DailyWeather, Origin]]
) -> list[AddReport]:
    """Records and weather together: where the weather cannot be kept, the records are not written either."""
    from data_sources.weather_export import add_weather

    at = garden.now
    if not plan.save:
        return add_weather(garden.folder, weather, at)
    added = sum(r.added for r in plan.reports)
    names = ", ".join(dict.fromkeys(r.file for r in plan.reports))
    with garden.journal.batch(f"import of {names}: {added} rows", at=at) as batch:
        for record in plan.save:
            batch.save(record)
        return add_weather(garden.folder, weather, at)


def _csv_files(files: Sequence[Path]) -> list[Path]:
    """Files as given; of a folder, the tables in it."""
    from data_sources.tables.garden_tables import FILES

    paths: list[Path] = []
    for file in files:
        if not file.is_dir():
            paths.append(file)
            continue
        found = [file / name for name in FILES.values() if (file / name).is_file()]
        if not found:
            raise InputError(f"{file} holds no exported tables ({', '.join(FILES.values())})")
        paths += found
    return paths
