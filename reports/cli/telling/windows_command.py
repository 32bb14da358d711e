"""`flushcast windows`: what may be done to which tree, when, and what waiting costs."""

from __future__ import annotations

import click

from reports.cli.common import as_of_option, open_garden_option, put
from reports.garden.open_garden import OpenGarden


@click.command("windows")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="The windows as JSON.")
@open_garden_option
def windows_command(garden: OpenGarden, trees: tuple[str, ...], as_of: str | None, as_json: bool) -> None:
    """List the windows of work: opens, best, closes and why, and the odds of ripening if you wait.

    \b
    flushcast windows
    flushcast windows hornbeams
    """
    from phenology.advice.garden_forecast import forecast_garden
    from phenology.advice.windows import windows
    from reports.garden.past_forecasts import read_with_skill
    from reports.output.windows import windows_json, windows_text
    from reports.text.progress import progress
    from reports.text.words import in_units

    wanted = {tree.id for tree in garden.select(" ".join(trees))} if trees else None
    snapshot, settings = read_with_skill(garden, as_of), garden.settings
    with progress("tree") as step:
        forecast = forecast_garden(snapshot, progress=step)
    found = [w for w in windows(forecast) if wanted is None or w.row.tree.id in wanted]
    words = windows_json(found, snapshot) if as_json else windows_text(found, snapshot)
    put(in_units(words, settings.units))
