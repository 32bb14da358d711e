"""`flushcast settings`: what is set for the whole garden."""

from __future__ import annotations

import click

from data_sources.garden import SETTINGS_NAME
from data_sources.garden_settings import SETTINGS
from reports.cli.common import open_garden_option, put, tell
from reports.entries.settings import NAMES, change_setting, field_named, shown_setting
from reports.garden.open_garden import OpenGarden
from reports.views.words import table


@click.command("settings")
@click.argument("name", required=False)
@click.argument("value", nargs=-1)
@click.option("--reset", is_flag=True, help="Back to the default.")
@open_garden_option
def settings_command(garden: OpenGarden, name: str | None, value: tuple[str, ...], reset: bool) -> None:
    """Show the settings, or set one.

    \b
    flushcast settings
    flushcast settings units F
    flushcast settings season-start 07-01
    """
    settings = garden.settings
    if name is None and reset:
        raise click.UsageError("say which setting goes back to its default: flushcast settings odds --reset")
    if name is None:
        rows = [[shown, shown_setting(n, settings), SETTINGS[n].meaning] for n, shown in NAMES.items()]
        own = f"{len(settings.species)} species with values of this garden: flushcast species\n"
        put(table(["setting", "value", ""], rows))
        put(f"{own if settings.species else ''}They stand in the garden's {SETTINGS_NAME}.")
        return
    field = field_named(name)
    if reset or value:
        tell(change_setting(garden, field, None if reset else value))
    else:
        put(shown_setting(field, settings))
