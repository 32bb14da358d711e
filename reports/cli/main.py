"""`flushcast`: the group of commands. Each command's module is imported only when it is called."""

from __future__ import annotations

import importlib
import sys
from typing import Any, ClassVar

import click

from phenology.errors import FlushcastError

# name: (module, attribute, one line for --help). A command appears here only when it works.
COMMANDS: dict[str, tuple[str, str, str]] = {
    "demo": (
        "reports.cli.demo_command",
        "demo_command",
        "An invented garden, offline, to a printed forecast.",
    ),
    "forecast": ("reports.cli.forecast_command", "forecast_command", "Which tree to look at when."),
    "calibrate": ("reports.cli.calibrate_command", "calibrate_command", "What the looks have taught."),
    "compare": ("reports.cli.compare_command", "compare_command", "Seasons side by side."),
    "elsewhere": (
        "reports.cli.elsewhere_command",
        "elsewhere_command",
        "Dates of a lesson, as dates here.",
    ),
    "calendar": ("reports.cli.calendar_command", "calendar_command", "Looks and windows for the phone."),
    "report": ("reports.cli.report_command", "report_command", "One page to read, print or send."),
    "chart": ("reports.cli.chart_command", "chart_command", "Pictures, as SVG or PNG."),
    "hindcast": ("reports.cli.hindcast_command", "hindcast_command", "Forecast past seasons and score it."),
    "weather": (
        "reports.cli.weather_command",
        "weather_command",
        "Add weather, fetch it, see what there is.",
    ),
    "init": ("reports.cli.init_command", "init_command", "Make a garden: where, units, first trees."),
    "look": ("reports.cli.look_command", "look_command", "Write down what stage trees are at."),
    "work": ("reports.cli.work_command", "work_command", "Write down what was done to trees."),
    "round": (
        "reports.cli.round_command",
        "round_command",
        "Which trees to look at on this walk, and what for.",
    ),
    "windows": (
        "reports.cli.windows_command",
        "windows_command",
        "What may be done when; what waiting costs.",
    ),
    "shoot": ("reports.cli.shoot_command", "shoot_command", "How far to cut a shoot, and why."),
    "canopy": ("reports.cli.canopy_command", "canopy_command", "Light inside a tree, from two readings."),
    "tree": ("reports.cli.tree_command", "tree_command", "The trees of a garden."),
    "place": ("reports.cli.place_command", "place_command", "The spots where trees stand."),
    "species": ("reports.cli.species_command", "species_command", "The species, and where values come from."),
    "settings": ("reports.cli.settings_command", "settings_command", "What is set for the whole garden."),
    "undo": ("reports.cli.undo_command", "undo_command", "Take back the last change."),
    "history": ("reports.cli.history_command", "history_command", "What was written when."),
    "import": ("reports.cli.import_command", "import_command", "Take in looks, work, trees from CSV."),
    "export": ("reports.cli.export_command", "export_command", "Write the whole garden as CSV."),
    "backup": ("reports.cli.backup_command", "backup_command", "A checked copy of the journal."),
    "restore": ("reports.cli.restore_command", "restore_command", "Put a backup in place, after a look."),
}


class LazyGroup(click.Group):
    """A click group that imports a command's module only when that command runs."""

    table: ClassVar[dict[str, tuple[str, str, str]]] = COMMANDS

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.table:
            return None
        module, attribute, _ = self.table[cmd_name]
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, _, line) in self.table.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--garden", metavar="DIR", default=None, help="The garden's folder.")
@click.version_option(package_name="flushcast", message="flushcast %(version)s")
@click.pass_context
def cli(ctx: click.Context, garden: str | None) -> None:
    """Which tree to look at when, when to cut it, and when to stop cutting.

    The forecast says when to look; the leaf decides.
    """
    ctx.ensure_object(dict)["garden"] = garden


def main(argv: list[str] | None = None) -> Any:
    """Run the command line: exit 0 done, 1 could not be done (one clear sentence), 2 usage."""
    try:
        return cli.main(args=argv, prog_name="flushcast", standalone_mode=True)
    except FlushcastError as error:
        click.echo(f"flushcast: {error}", err=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
