"""What every command shares: which garden, and where words and data go."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click


def garden_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Let ``--garden DIR`` stand after the command as well as before it; passes ``garden: Path``."""

    def folder(ctx: click.Context, _param: click.Parameter, value: str | None) -> Path:
        found = garden_folder(value or (ctx.obj or {}).get("garden"))
        write_dates_as_in(found, ctx)
        return found

    return click.option(
        "--garden", metavar="DIR", default=None, callback=folder, help="The garden's folder."
    )(command)


as_of_option = click.option(
    "--as-of", metavar="DATE", default=None, help="Stand on an earlier day and forget what came after it."
)


def garden_folder(given: str | None) -> Path:
    """The garden meant: the flag, ``FLUSHCAST_GARDEN``, here if here is one, else the user's data folder."""
    chosen = given or os.environ.get("FLUSHCAST_GARDEN")
    if chosen:
        return Path(chosen).expanduser()
    if Path("garden.toml").is_file():
        return Path(".")
    import platformdirs

    return Path(platformdirs.user_data_dir("flushcast", appauthor=False))


def write_dates_as_in(garden: Path, ctx: click.Context) -> None:
    """Write dates and temperatures as a garden has them until the command ends.

    What is wrong with its settings, the command tells.
    """
    from contextlib import suppress

    from data_sources.garden_settings import read_settings
    from phenology.language.date_style import using_dates
    from phenology.language.degrees import using_units
    from phenology.model.errors import FlushcastError

    with suppress(FlushcastError):
        settings = read_settings(garden)
        ctx.with_resource(using_dates(settings.date_style))
        ctx.with_resource(using_units(settings.units))


def may_ask() -> bool:
    """Whether a question may be asked: never when stdin is not a terminal."""
    return sys.stdin is not None and sys.stdin.isatty()


def say(words: str = "") -> None:
    """Words for the grower: to stderr."""
    click.echo(words, err=True)


def put(data: str = "") -> None:
    """Data: to stdout."""
    click.echo(data)
