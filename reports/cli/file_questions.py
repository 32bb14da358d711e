"""Reading files at a terminal: what a file leaves open is asked, then it is read again with the answer."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import click

from data_sources.tables.problems import FileQuestion
from reports.cli.common import may_ask, say

T = TypeVar("T")


def asking(read: Callable[[], T], answer: Callable[[FileQuestion, str], None]) -> T:
    """What `read` returns; each question it raises is put to the grower, where there is somebody to ask.

    Parameters
    ----------
    read : callable
    answer : callable
        Keeps the answer to a question for the next attempt.

    Raises
    ------
    FileQuestion
        If nobody can be asked.
    """
    while True:
        try:
            return read()
        except FileQuestion as question:
            if not may_ask():
                raise
            say(f"{question}.")
            kind = click.Choice(question.choices) if question.choices else str
            answer(question, click.prompt(question.what.replace("_", " "), type=kind, err=True))
