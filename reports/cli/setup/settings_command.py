"""`flushcast settings`: what is set for the whole garden."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import garden_option, put


@click.command("settings")
@click.argument("name", required=False)
@click.argument("value", nargs=-1)
@click.option("--reset", is_flag=True, help="Back to the default.")
@garden_option
def settings_command(garden: Path, name: str | None, value: tuple[str, ...], reset: bool) -> None:
    """Show the settings, or set one.

    \b
    flushcast settings
    flushcast settings units F
    flushcast settings season-start 07-01
    """
    from reports.cli.setup import settings_entry as entry

    if name is None:
        put(entry.listing(garden))
    elif reset:
        entry.change(garden, name, None)
    elif not value:
        put(entry.one(garden, name))
    else:
        entry.change(garden, name, " ".join(value))
