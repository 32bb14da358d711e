"""`flushcast weather`: add weather, fetch it, see what there is. Each subcommand is imported when it runs."""

from __future__ import annotations

from typing import ClassVar

import click

from reports.cli.main import LazyGroup


class WeatherGroup(LazyGroup):
    """The weather commands."""

    table: ClassVar[dict[str, tuple[str, str, str]]] = {
        "add": ("reports.cli.weather_add_command", "weather_add_command", "Take daily weather from a file."),
        "update": ("reports.cli.weather_update_command", "update", "Fetch what is new from services."),
        "sources": ("reports.cli.weather_update_command", "sources", "List the services."),
        "status": (
            "reports.cli.weather_status_command",
            "weather_status_command",
            "See what weather there is.",
        ),
        "accept": (
            "reports.cli.weather_accept_command",
            "weather_accept_command",
            "Use days that were marked as doubtful.",
        ),
        "undo": (
            "reports.cli.weather_undo_command",
            "weather_undo_command",
            "Take back what was added last.",
        ),
    }


@click.group("weather", cls=WeatherGroup)
def weather_command() -> None:
    """Add weather, fetch it, see what there is."""
