"""What an import understood, told before it is taken: columns, rows, new trees, and what is left out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from data_sources.tables.columns import IGNORE, OPEN
from data_sources.tables.headers import event_column
from data_sources.tables.import_draft import ImportedFile, ImportPlan
from data_sources.tables.import_rows import ImportedRow
from data_sources.tables.problems import sentences
from phenology.model.stages import Stage
from reports.text.words import counted, set_in

ROWS = 12  # rows told of a file before the rest is only counted; all with --dry-run


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
