"""What can be wrong with a file, all of it told at once, and what only the grower can answer."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from phenology.model.errors import InputError

SHOWN = 30  # problems printed before the rest is only counted
LINES = 6  # lines named of those on which the same is wrong
LONGEST = 500  # characters of what is wrong, and of what to do: a cell may hold a book (ours)


@dataclass(frozen=True)
class Problem:
    """One cell, row or file that cannot be used: where it is, what is wrong, what to do.

    `asks` says that the grower may well mean something, and what it is has to be told; `about` of which kind
    it is ("column", "new_tree", "like_tree"), where what to do depends on where it is told.
    """

    file: str
    line: int | None
    column: str | None
    wrong: str
    advice: str = ""
    asks: bool = False
    about: str = ""

    def __str__(self) -> str:
        return _sentence(self, [] if self.line is None else [self.line])

    @property
    def why(self) -> str:
        """What is wrong and what to do, without the place."""
        return "; ".join(
            part if len(part) <= LONGEST else f"{part[:LONGEST]} ..."
            for part in (self.wrong, self.advice)
            if part
        )


def _sentence(problem: Problem, lines: Sequence[int]) -> str:
    where = problem.file
    if lines:
        where += f", line{'s' * (len(lines) > 1)} {', '.join(map(str, lines[:LINES]))}"
    where += f" and {len(lines) - LINES:,} more" if len(lines) > LINES else ""
    where += f", column {problem.column}" if problem.column else ""
    return f"{where}: {problem.why}"


def sentences(problems: Iterable[Problem]) -> list[str]:
    """The first `SHOWN` problems as sentences, then how many more; the same on several lines is one."""
    alike: dict[Problem, list[int]] = {}
    for problem in problems:
        lines = alike.setdefault(replace(problem, line=None), [])
        lines += [] if problem.line is None or problem.line in lines else [problem.line]
    told = [_sentence(problem, lines) for problem, lines in alike.items()]
    return told[:SHOWN] + [f"and {len(told) - SHOWN:,} more"] * (len(told) > SHOWN)


class TableError(InputError):
    """A file, or rows (or `what`) of files, that cannot be used: every problem found, or one sentence.

    `hint` is what a command can be told to get on; `plain` is the message without it.
    """

    def __init__(self, problems: Sequence[Problem] | str, what: str = "rows", hint: str = "") -> None:
        self.problems: tuple[Problem, ...] = () if isinstance(problems, str) else tuple(problems)
        if isinstance(problems, str):
            message = problems
        elif len(problems) == 1:
            message = f"{problems[0]}. Nothing was changed."
        else:
            lines = [f"{len(problems):,} {what} cannot be read; nothing was changed."]
            lines += [f"  {sentence}" for sentence in sentences(problems)]
            message = "\n".join(lines)
        self.plain, self.hint = message, hint
        super().__init__(message + hint)


class FileQuestion(InputError):
    """Something a file leaves open and that is never guessed.

    `what` is the argument that answers it with one of the `choices`; for a column `role` is the one to fill
    ("tmin", "tmax", "temp", "date"). The message, for growers who cannot be asked, has the flag that answers.
    """

    def __init__(self, what: str, choices: Sequence[str], message: str, role: str = "") -> None:
        self.what, self.choices, self.role = what, tuple(choices), role
        super().__init__(message)


class MixedOrders(FileQuestion):
    """Some dates of a file have the day first and others the month: the garden's own way tells nothing."""
