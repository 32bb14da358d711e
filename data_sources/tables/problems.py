"""What can be wrong with a file, all of it told at once, and what only the grower can answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from phenology.model.errors import InputError

SHOWN = 30  # problems printed before the rest is only counted


@dataclass(frozen=True)
class Problem:
    """One cell, row or file that cannot be used: where it is, what is wrong, what to do."""

    file: str
    line: int | None
    column: str | None
    wrong: str
    advice: str = ""

    def __str__(self) -> str:
        where = self.file
        where += f", line {self.line}" if self.line is not None else ""
        where += f", column {self.column}" if self.column else ""
        return f"{where}: {self.wrong}" + (f"; {self.advice}" if self.advice else "")


class TableError(InputError):
    """A file, or rows (or `what`) of files, that cannot be used: every problem found, or one sentence."""

    def __init__(self, problems: Sequence[Problem] | str, what: str = "rows") -> None:
        self.problems: tuple[Problem, ...] = () if isinstance(problems, str) else tuple(problems)
        if isinstance(problems, str):
            message = problems
        elif len(problems) == 1:
            message = f"{problems[0]}. Nothing was changed."
        else:
            lines = [f"{len(problems):,} {what} cannot be read; nothing was changed."]
            lines += [f"  {problem}" for problem in problems[:SHOWN]]
            lines += [f"  and {len(problems) - SHOWN:,} more"] if len(problems) > SHOWN else []
            message = "\n".join(lines)
        super().__init__(message)


class FileQuestion(InputError):
    """Something a file leaves open and that is never guessed.

    Parameters
    ----------
    what : {"units", "date_order", "clock", "timezone", "column", "kind"}
        The argument that answers it, with one of the choices.
    message : str
        The sentence for a grower who cannot be asked, with the flag that answers.
    role : str
        For a column: the role to fill ("tmin", "tmax", "temp", "date").
    """

    def __init__(self, what: str, choices: Sequence[str], message: str, role: str = "") -> None:
        self.what, self.choices, self.role = what, tuple(choices), role
        super().__init__(message)
