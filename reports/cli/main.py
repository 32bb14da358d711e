"""`flushcast`: the group of commands. Each command's module is imported only when it is called."""

from __future__ import annotations

import atexit
import gc
import importlib
import os
import sys
from contextlib import suppress
from io import TextIOWrapper
from typing import Any, ClassVar

import click

# Our matrices are small: threads of the linear algebra library cost more than they bring.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# A garden is many records that stay, and hardly a circle: to look for those takes a while and finds none.
RECORDS_BETWEEN = 1_000_000
atexit.register(gc.freeze)  # at the end all goes: no last look

# name: (module below reports.cli, one line for --help). A command appears here only when it works.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("setup.init_command", "An invented garden, offline, to a printed forecast."),
    "forecast": ("telling.ahead", "Which tree to look at when."),
    "calibrate": ("telling.seasons", "What the looks have taught."),
    "compare": ("telling.seasons", "Seasons side by side."),
    "elsewhere": ("telling.elsewhere_command", "Dates of a lesson, as dates here."),
    "region": ("telling.region_command", "Maps of a species over a climate set."),
    "serve": ("telling.outgoing", "The garden as pages, for the phone at the bench."),
    "calendar": ("telling.outgoing", "Looks and windows for the phone."),
    "notify": ("telling.outgoing", "A message when something changed."),
    "report": ("telling.outgoing", "One page to read, print or send."),
    "chart": ("telling.chart_command", "Pictures, as SVG or PNG."),
    "hindcast": ("telling.seasons", "Forecast past seasons and score it."),
    "weather": ("weather.weather_command", "Add weather, fetch it, see what there is."),
    "init": ("setup.init_command", "Make a garden: where, units, first trees."),
    "look": ("writing.entry_commands", "Write down what stage trees are at."),
    "work": ("writing.entry_commands", "Write down what was done to trees."),
    "check": ("telling.ahead", "May I? Yes, better wait or no, and why."),
    "plan": ("telling.ahead", "The flushes this season may still bring."),
    "round": ("telling.ahead", "Which trees to look at on this walk, and what for."),
    "windows": ("telling.ahead", "What may be done when; what waiting costs."),
    "shoot": ("telling.shoot_and_canopy", "How far to cut a shoot, and why."),
    "canopy": ("telling.shoot_and_canopy", "Light inside a tree, from two readings."),
    "tree": ("setup.tree_command", "The trees of a garden."),
    "place": ("setup.place_command", "The spots where trees stand."),
    "species": ("setup.species_command", "The species, and where values come from."),
    "settings": ("setup.settings_command", "What is set for the whole garden."),
    "share": ("keeping", "What was learned here, for other growers."),
    "learn-from": ("keeping", "Learn from what other growers share."),
    "undo": ("writing.undo_and_history", "Take back the last change."),
    "history": ("writing.undo_and_history", "What was written when."),
    "import": ("writing.import_command", "Your notebook, tables or photos in."),
    "export": ("keeping", "Write the whole garden as CSV."),
    "backup": ("keeping", "A checked copy of the journal."),
    "restore": ("keeping", "Put a backup in place, after a look."),
}


class LazyGroup(click.Group):
    """A click group that imports a command's module only when that command runs."""

    table: ClassVar[dict[str, tuple[str, str]]] = COMMANDS

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self.table)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in self.table:
            return None
        module = importlib.import_module(f"reports.cli.{self.table[cmd_name][0]}")
        command: click.Command = getattr(module, f"{cmd_name.replace('-', '_')}_command")
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in self.table.items()])


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
    gc.set_threshold(RECORDS_BETWEEN)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):  # what an encoding cannot show is replaced
            stream.reconfigure(errors="replace")
    try:
        try:
            return cli.main(args=argv, prog_name="flushcast", standalone_mode=True)
        finally:
            sys.stdout.flush()
    except Exception as error:
        from reports.cli.unexpected import in_one_sentence

        with suppress(OSError):
            click.echo(f"flushcast: {in_one_sentence(error)}", err=True)
        with suppress(OSError):  # what is still to be written cannot be: let it not fail again at the end
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)


if __name__ == "__main__":
    main()
