"""What every command shares: which garden, where words and data go, its forecast; changes and questions."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Callable, Iterable
from contextlib import suppress
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from phenology.model.errors import InputError

if TYPE_CHECKING:
    from data_sources.tables.problems import FileQuestion
    from phenology.advice.forecast_rows import GardenForecast
    from reports.entries.merging import Edit
    from reports.garden.open_garden import OpenGarden

T = TypeVar("T")
UNDO = "Undo:\u00a0flushcast\u00a0undo"  # kept on one line, to be copied


def open_garden_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Let ``--garden DIR`` stand after the command as well as before it; passes ``garden: OpenGarden``.

    It is closed when the command ends; until then dates and temperatures are written as the garden has them.
    What is wrong with its settings, the command tells.
    """

    def opened(ctx: click.Context, _param: click.Parameter, value: str | None) -> OpenGarden:
        from phenology.language.date_style import using_dates
        from phenology.language.degrees import using_units
        from phenology.model.errors import FlushcastError
        from reports.garden.open_garden import OpenGarden

        garden = OpenGarden(
            garden_folder(value or (ctx.obj or {}).get("garden")), lambda warning: tell(f"Note: {warning}")
        )
        ctx.call_on_close(garden.close)
        with suppress(FlushcastError):
            ctx.with_resource(using_dates(garden.settings.date_style))
            ctx.with_resource(using_units(garden.settings.units))
        return garden

    return click.option(
        "--garden", metavar="DIR", default=None, callback=opened, help="The garden's folder."
    )(command)


as_of_option = click.option(
    "--as-of", metavar="DATE", default=None, help="Stand on an earlier day and forget what came after it."
)


def together(*options: Callable[..., Any]) -> Callable[..., Any]:
    """Several options that commands share, as one decorator."""

    def decorated(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return decorated


def garden_folder(given: str | None) -> Path:
    """The garden meant: the flag, ``FLUSHCAST_GARDEN``, here if here is one, else the user's data folder."""
    chosen = given or os.environ.get("FLUSHCAST_GARDEN")
    if chosen:
        try:
            return Path(chosen).expanduser()
        except RuntimeError:
            raise InputError(
                f"there is no home folder of '{chosen.split('/')[0]}'; name the folder in full"
            ) from None
    if (
        Path("garden.toml").is_file() or Path("journal.sqlite").is_file()
    ):  # one that lost its settings says so
        return Path(".")
    import platformdirs

    return Path(platformdirs.user_data_dir("flushcast", appauthor=False))


_UNSEEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]"
    "|\r(?!\n)"
)


def shown(text: str) -> str:
    """A text with what would steer a terminal written out, as JSON writes it too."""
    return _UNSEEN.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def may_ask() -> bool:
    """Whether a question may be asked: never when stdin is not a terminal."""
    return sys.stdin is not None and sys.stdin.isatty()


def say(words: str = "") -> None:
    """Words for the grower: to stderr."""
    click.echo(shown(words), err=True)


def tell(words: str) -> None:
    """Words for the grower, wrapped; a no-break space holds words together."""
    from reports.views.words import paragraph

    say(paragraph(words))


def once_a_day(garden: OpenGarden, cautions: Iterable[str]) -> list[str]:
    """Those of some cautions that this garden's grower was not told today."""
    from data_sources.kept_notes import not_said_yet
    from reports.garden.clock import today

    return not_said_yet(garden.folder, today(), cautions)


def put(data: str = "") -> None:
    """Data: to stdout."""
    click.echo(shown(data))


def write_page(path: Path, html: str) -> None:
    """Write a page, and say so."""
    from data_sources.disk.whole_files import write_output

    data = html.encode("utf-8")
    write_output(path, data)
    say(f"Wrote {path}, {len(data) // 1000 or 1} kB.")


def tell_usual_warmth(note: str) -> None:
    """Say that dates rest on the usual warmth of the latitude, where they do."""
    if note:
        tell(note)


def read_forecast(garden: OpenGarden, as_of: str | None = None) -> GardenForecast:
    """The forecast of a garden, today or as of a day gone by as typed."""
    from phenology.advice.garden_forecast import forecast_garden
    from reports.garden.past_forecasts import read_with_skill
    from reports.views.progress import progress

    snapshot = read_with_skill(garden, as_of)
    with progress("tree") as step:
        return forecast_garden(snapshot, progress=step)


def commit(garden: OpenGarden, plan: Callable[[], Edit]) -> None:
    """Plan a change and save it, then say what was done and how to undo it."""
    from reports.entries.merging import saved

    edit, _ = saved(garden, plan)
    tell(f"{edit.said.rstrip('.')}. {UNDO}")


def committed(command: Callable[..., Edit]) -> Callable[..., None]:
    """Let a command return the `Edit` it is for; it runs under the garden's lock and is saved and told."""

    @wraps(command)
    def run(garden: OpenGarden, *given: Any, **typed: Any) -> None:
        commit(garden, lambda: command(garden, *given, **typed))

    return run


def asking(read: Callable[[], T], answer: Callable[[FileQuestion, str], None]) -> T:
    """What `read` returns; each question it raises is put to the grower, where there is somebody to ask.

    `answer` keeps what was answered for the next attempt.
    """
    from data_sources.tables.problems import FileQuestion

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
