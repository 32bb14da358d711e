"""The answers to "may I?" as a table."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from phenology.model.operations import Operation
from phenology.model.records import Tree
from phenology.work.answer import Answer
from reports.table import Column, Table

Row = tuple[Tree, Answer]


def answers_table(answers: Sequence[Row], operation: Operation, day: date) -> Table[Row]:
    """One row a tree."""
    columns: tuple[Column[Row], ...] = (
        Column("tree", "id", lambda row: row[0].id, "the tree's id"),
        Column("label", "text", lambda row: row[0].label, "its name"),
        Column("operation", "text", lambda row: operation, "the work that was asked about"),
        Column("date", "date", lambda row: day, "on that day"),
        Column("answer", "text", lambda row: row[1].answer, "yes, better wait or no"),
        Column("why", "texts", lambda row: row[1].why, "the reasons"),
        Column("instead", "text", lambda row: row[1].instead or None, "what to do instead"),
        Column("when", "text", lambda row: row[1].when or None, "from when it is better"),
    )
    return Table("flushcast.answer/1", columns, answers)
