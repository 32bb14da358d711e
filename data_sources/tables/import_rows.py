"""What became of the rows of an import: taken, there already, to be asked about, refused."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import count
from pathlib import Path
from typing import Literal, NamedTuple

from data_sources.disk.whole_files import read_output, write_output
from data_sources.tables.cells import csv_lines
from data_sources.tables.problems import Problem
from data_sources.tables.subjects import ENTRIES, SUBJECTS, WHAT

Fate = Literal["new", "there", "asked", "refused", "unknown"]


class ImportedRow(NamedTuple):
    """A row, or one date of a row, and what became of it.

    `said` is what was understood, in the grower's words; `texts` the cells by field; `day` its last day.
    """

    file: str
    line: int
    column: str
    subject: str
    fate: Fate
    said: str
    texts: Mapping[str, str]
    problems: tuple[Problem, ...] = ()
    day: date | None = None


QUESTION = "question"
"""Header of the column of a sheet to be mended that says what is wrong; it is passed over when read again."""


def write_to_mend(folder: Path, stem: str, rows: Sequence[ImportedRow]) -> list[Path]:
    """Write rows that were left out to small sheets that can be mended and imported; one a subject.

    A sheet that is there with other rows stays, and another name is taken.
    """
    paths = []
    for subject, name in (("look", ""), ("tree", "-trees"), ("place", "-places")):
        mine = [
            row for row in rows if row.subject == subject or (subject == "look" and row.subject in ENTRIES)
        ]
        if not mine:
            continue
        fields = [one.name for one in SUBJECTS[subject]]
        used = [
            name
            for name in fields
            if name in _ALWAYS.get(subject, fields) or any(_cell(r, name) for r in mine)
        ]
        headers = ["what" if name == WHAT["look"] else name for name in used] + [QUESTION]
        lines = [[*(_cell(row, name) for name in used), _question(row.problems)] for row in mine]
        paths.append(_write(folder, f"{stem}{name}-to-mend", headers, lines))
    return paths


_ALWAYS: Mapping[str, Sequence[str]] = {"look": ("date", "tree", "stage", "species")}


def _cell(row: ImportedRow, name: str) -> str:
    return row.texts.get(name, "") or (row.texts.get(WHAT["work"], "") if name == WHAT["look"] else "")


def _question(problems: Iterable[Problem]) -> str:
    told = [f"{p.column}: {p.why}" if p.column else p.why for p in problems]
    lines = dict.fromkeys(p.line for p in problems if p.line)
    where = f" (line {', '.join(map(str, lines))})" if lines else ""
    return "; ".join(dict.fromkeys(told)) + where


def _write(folder: Path, stem: str, headers: list[str], lines: list[list[str]]) -> Path:
    data = "".join(csv_lines(headers, [[cell or None for cell in line] for line in lines])).encode("utf-8")
    for n in count(1):
        path = folder / f"{stem}{f'-{n}' if n > 1 else ''}.csv"
        there = read_output(path)
        if there is None:
            write_output(path, data)
        if there in (None, data):
            return path
    raise AssertionError
