"""`flushcast weather`: add weather, fetch it, see what there is. Each subcommand is imported when it runs."""

from __future__ import annotations

from typing import ClassVar

import click

from reports.cli.main import LazyGroup


class WeatherGroup(LazyGroup):
    """The weather commands."""

    table: ClassVar[dict[str, tuple[str, str]]] = {
        "add": ("weather.store_commands", "Take daily weather from a file."),
        "update": ("weather.store_commands", "Fetch what is new from services."),
        "sources": ("weather.store_commands", "List the services."),
        "status": ("weather.store_commands", "See what weather there is."),
        "show": ("weather.store_commands", "See days one by one, and where each value comes from."),
        "accept": ("weather.store_commands", "Use days that were marked as doubtful."),
        "undo": ("weather.store_commands", "Take back what was added last."),
    }


@click.group("weather", cls=WeatherGroup)
def weather_command() -> None:
    """Add weather, fetch it, see what there is."""
