"""`flushcast forecast`: which tree to look at when."""

from __future__ import annotations

import click

from reports.cli.common import as_of_option, once_a_day, open_garden_option, put
from reports.cli.telling.read_forecast import read_forecast
from reports.garden.open_garden import OpenGarden


@click.command("forecast")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="The forecast as JSON (schema flushcast.forecast/1).")
@click.option("--csv", "as_csv", is_flag=True, help="The forecast as CSV, a line a tree, flush and stage.")
@click.option("--changes", is_flag=True, help="Also say what moved since the last look, or since a week ago.")
@open_garden_option
def forecast_command(
    garden: OpenGarden, trees: tuple[str, ...], as_of: str | None, as_json: bool, as_csv: bool, changes: bool
) -> None:
    """Say which trees to look at today, this week and later, and which to leave, with honest uncertainty.

    \b
    flushcast forecast
    flushcast forecast hornbeams
    """
    if as_json and as_csv:
        raise click.UsageError("choose one of --json and --csv")
    if changes and (as_json or as_csv):
        raise click.UsageError("--changes tells in words; leave out --json and --csv")
    wanted = {tree.id for tree in garden.select(" ".join(trees))} if trees else None
    forecast = read_forecast(garden, as_of)
    from phenology.advice.agenda import make_agenda

    agenda = make_agenda(forecast)
    asked = agenda if wanted is None else agenda.only(wanted)
    if as_json or as_csv:
        from reports.output.ahead import forecast_csv, forecast_json

        units = garden.settings.units
        put(forecast_json(asked, units) if as_json else forecast_csv(asked.forecast).rstrip("\n"))
        return
    from reports.text.change_text import changes_text, misses_text
    from reports.text.forecast_text import CLOSING, forecast_text
    from reports.text.words import terminal_width

    width = terminal_width()
    put(forecast_text(asked, width, in_full=wanted is not None, closing=once_a_day(garden, CLOSING)))
    missed = misses_text(garden.folder, forecast, width) if as_of is None else ""
    if changes:  # a second and a third forecast, so only when asked for
        from phenology.advice.forecast_change import changed_since, forecast_changes

        put("\n" + changes_text(forecast_changes(forecast), changed_since(forecast.garden), width))
    elif missed:
        put("\n" + missed)
