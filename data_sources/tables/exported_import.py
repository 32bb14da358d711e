"""Taking exported tables as they stand, ids and all, when all they point at is there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path

from data_sources.journal.schema import TABLES, Record
from data_sources.tables.csv_cells import Problem
from data_sources.tables.garden_tables import read_exported, unresolved
from data_sources.tables.import_draft import Draft, FileReport
from phenology.model.errors import InputError
from phenology.model.records import Aim, Flush, Look, Place, Work
from phenology.model.stages import stage_rank


def take_exported(draft: Draft, files: Sequence[tuple[Path, str]]) -> list[Path]:
    """Take exported files as they stand; returns those that point at something missing here."""
    read = {}
    for path, table in files:
        rows, problems = read_exported(path, table)
        draft.problems += problems
        read[path] = (table, rows)
    known = {table: set(found) for table, found in draft.by_id.items()}
    for table, rows in read.values():
        known[table] |= {record.id for _, record in rows}
    left = [
        path
        for path, (table, rows) in read.items()
        if any(unresolved(table, record, known) for _, record in rows)
    ]
    for table in TABLES:
        for path, (own, rows) in read.items():
            if own == table and path not in left:
                _take_records(draft, path, table, rows)
    return left


def _take_records(draft: Draft, path: Path, table: str, rows: Iterable[tuple[int, Record]]) -> None:
    report = FileReport(path.name, table)
    draft.plan.reports.append(report)
    for line, record in rows:
        try:
            _check_record(record)
        except InputError as error:
            draft.problems.append(Problem(path.name, line, None, None, str(error)))
            continue
        before = draft.by_id[table].get(record.id)
        if before == record:
            report.there += 1
            continue
        report.changed += before is not None
        report.added += before is None
        draft.by_id[table][record.id] = record
        draft.plan.save.append(record)


def _check_record(record: Record) -> None:
    """Refuse values that no flushcast writes, with a clearer word than the journal's own check."""
    if isinstance(record, Look):
        stage_rank(record.stage)
        if record.kind not in ("seen", "happened"):
            raise InputError(f"kind '{record.kind}' is not seen or happened")
    if isinstance(record, Look | Work) and record.earliest > record.latest:
        raise InputError("earliest lies after latest")
    if isinstance(record, Flush) and record.started_by not in ("season", "seen", "work"):
        raise InputError(f"started_by '{record.started_by}' is not season, seen or work")
    if isinstance(record, Aim) and record.aim not in ("building", "refining", "resting"):
        raise InputError(f"aim '{record.aim}' is not building, refining or resting")
    if isinstance(record, Place) and not (-90 <= record.latitude <= 90 and -180 <= record.longitude <= 180):
        raise InputError("latitude runs from -90 to 90, longitude from -180 to 180")
