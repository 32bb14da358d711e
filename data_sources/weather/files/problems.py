"""What can be wrong with a weather file, said all at once, and what only the grower can answer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from phenology.model.errors import WeatherError

SHOWN = 12  # problems printed before the rest is only counted


@dataclass(frozen=True)
class Problem:
    """One cell or line that cannot be used: where it is, what was read, what to write instead."""

    line: int
    column: str
    read: str
    advice: str

    def __str__(self) -> str:
        where = f"line {self.line}, column {self.column}" if self.column else f"line {self.line}"
        return f"{where}: {self.read}; {self.advice}" if self.advice else f"{where}: {self.read}"


class WeatherFileError(WeatherError):
    """A weather file that cannot be used as it is. `problems` holds every one found."""

    def __init__(self, path: Path, problems: Sequence[Problem] | str) -> None:
        self.path = path
        self.problems: tuple[Problem, ...] = () if isinstance(problems, str) else tuple(problems)
        if isinstance(problems, str):
            message = f"{path.name}: {problems}"
        elif len(problems) == 1:
            message = f"{path.name}, {problems[0]}"
        else:
            lines = [f"  {p}" for p in problems[:SHOWN]]
            if len(problems) > SHOWN:
                lines.append(f"  and {len(problems) - SHOWN:,} more")
            message = "\n".join(
                [f"{path.name} has {len(problems):,} problems; nothing was taken from it:", *lines]
            )
        super().__init__(message)


class WeatherFileQuestion(WeatherError):
    """Something the file leaves open and that is never guessed.

    Parameters
    ----------
    path : Path
        The file.
    what : {"units", "date_order", "clock", "timezone", "column"}
        The argument that answers it.
    choices : sequence of str
        What may be answered.
    message : str
        The sentence for a grower who cannot be asked, with the flag that answers.
    role : str
        For a column: the role to fill ("tmin", "tmax", "temp", "date").
    """

    def __init__(self, path: Path, what: str, choices: Sequence[str], message: str, role: str = "") -> None:
        self.path, self.what, self.choices, self.role = path, what, tuple(choices), role
        super().__init__(f"{path.name}: {message}")
