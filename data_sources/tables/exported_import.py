"""Taking exported tables as they stand, ids and all, when all they point at is there."""

from __future__ import annotations

from collections.abc import Sequence

from data_sources.journal.schema import TABLES, Record
from data_sources.tables.garden_tables import read_exported, unresolved
from data_sources.tables.import_draft import Draft, FileReport
from data_sources.tables.text_table import TextTable
from phenology.model.errors import InputError
from phenology.model.records import Aim, Flush, Look, Place, Work
from phenology.model.stages import stage_rank


def take_exported(draft: Draft, tables: Sequence[tuple[TextTable, str]]) -> list[FileReport | None]:
    """Take exported tables as they stand: what became of each, None where it points at something not here."""
    read = [read_exported(table, name, draft.problems) for table, name in tables]
    known = {name: set(found) for name, found in draft.by_id.items()}
    for (_, name), rows in zip(tables, read, strict=True):
        known[name] |= {record.id for _, record in rows}
    reports: list[FileReport | None] = [
        None if any(unresolved(name, record, known) for _, record in rows) else FileReport(table.file, name)
        for (table, name), rows in zip(tables, read, strict=True)
    ]
    parents_first = sorted(range(len(tables)), key=lambda n: list(TABLES).index(tables[n][1]))
    for n in parents_first:
        if (report := reports[n]) is not None:
            draft.plan.reports.append(report)
            _take_records(draft, tables[n][0], report, read[n])
    return reports


def _take_records(
    draft: Draft, table: TextTable, report: FileReport, rows: Sequence[tuple[int, Record]]
) -> None:
    for line, record in rows:
        try:
            _check_record(record)
        except InputError as error:
            draft.problems.append(table.problem(line, None, str(error)))
            continue
        before = draft.by_id[report.table].get(record.id)
        if before == record:
            report.there += 1
            continue
        report.changed += before is not None
        report.added += before is None
        draft.add(record)


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
