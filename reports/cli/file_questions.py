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

    `answer` keeps what was answered for the next attempt.
    """
    while True:
        try:
            return read()
        except FileQuestion as question:
            answer(question, ask(question))


def ask(question: FileQuestion) -> str:
    """An answer out of the choices; whether the day comes first may be said with y or n.

    Raises
    ------
    FileQuestion
        The question itself, if nobody can be asked.
    """
    if not may_ask():
        raise question
    say(f"{question}.")
    words, choices = question.what.replace("_", " "), question.choices
    if question.what == "date_order":
        words, choices = "Day first?", ("y", "n", *choices)
    answer: str = click.prompt(words, type=click.Choice(choices) if choices else str, err=True)
    return {"y": "day-first", "n": "month-first"}.get(answer, answer)
