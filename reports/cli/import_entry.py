"""Planning and carrying out an import, asking what only the grower knows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import click

from data_sources.import_draft import ImportPlan
from data_sources.journal_questions import all_records
from data_sources.table_columns import PLURALS
from data_sources.table_import import Asked, KindUnclearError, plan_import
from phenology.errors import InputError
from phenology.language.vague_dates import AmbiguousDateError
from reports.cli.desk import UNDO, Desk, tell

__all__ = ["Asked", "carry_out", "planned"]


def planned(desk: Desk, files: Sequence[Path], asked: Asked, *, may_ask: bool) -> ImportPlan:
    """The plan of an import; at a terminal the order of dates and their kind are asked once each."""
    paths = _csv_files(files)
    for _ in range(3):
        try:
            return plan_import(
                paths,
                all_records(desk.journal),
                desk.catalogue,
                desk.calendar,
                today=desk.today,
                new_id=desk.new_id,
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


def carry_out(desk: Desk, plan: ImportPlan, files: Sequence[Path], *, dry_run: bool) -> None:
    """Save a plan as one batch and tell what became of each file."""
    for warning in plan.warnings:
        tell(f"Note: {warning}.")
    for report in plan.reports:
        parts = [f"{report.added} new {PLURALS.get(report.table, report.table + ' rows')}"]
        parts += [f"{report.changed} changed"] if report.changed else []
        parts += [f"{report.there} there already"] if report.there else []
        remembered = " (columns as remembered)" if report.remembered else ""
        tell(f"{report.file}: {', '.join(parts)}{remembered}.")
    if dry_run:
        tell("Only checked; nothing was changed.")
        return
    if not plan.save:
        tell("Nothing new; nothing was changed.")
        return
    added = sum(r.added for r in plan.reports)
    names = ", ".join(dict.fromkeys(r.file for r in plan.reports))
    desk.save(f"import of {names}: {added} rows", plan.save)
    tell(UNDO)


def _csv_files(files: Sequence[Path]) -> list[Path]:
    """Files as given; of a folder, the tables in it."""
    from data_sources.garden_tables import FILES

    paths: list[Path] = []
    for file in files:
        if not file.is_dir():
            paths.append(file)
            continue
        found = [file / name for name in FILES.values() if (file / name).is_file()]
        if not found:
            raise InputError(f"{file} holds no exported tables ({', '.join(FILES.values())})")
        paths += found
        if (file / "weather.csv").is_file():
            tell("Note: weather is not imported with tables; add its files with: flushcast weather add FILE.")
    return paths
