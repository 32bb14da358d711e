"""`flushcast windows`: what may be done to which tree, when, and what waiting costs."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import as_of_option, garden_option, put


@click.command("windows")
@click.argument("trees", nargs=-1, metavar="[TREES]")
@as_of_option
@click.option("--json", "as_json", is_flag=True, help="The windows as JSON.")
@garden_option
def windows_command(garden: Path, trees: tuple[str, ...], as_of: str | None, as_json: bool) -> None:
    """List the windows of work: opens, best, closes and why, and the odds of ripening if you wait.

    \b
    flushcast windows
    flushcast windows hornbeams
    """
    from phenology.advice.garden_forecast import forecast_garden
    from phenology.advice.windows import windows
    from reports.garden.garden_date import garden_date
    from reports.garden.past_forecasts import read_with_skill
    from reports.output.windows import windows_json, windows_text
    from reports.text.progress import progress
    from reports.text.words import in_units

    wanted = None
    if trees:
        from reports.cli.writing.desk import open_desk

        with open_desk(garden) as desk:
            wanted = {tree.id for tree in desk.select(" ".join(trees))}
    snapshot, settings = read_with_skill(garden, garden_date(garden, as_of), past=as_of is not None)
    with progress("tree") as step:
        forecast = forecast_garden(snapshot, progress=step)
    found = [w for w in windows(forecast) if wanted is None or w.row.tree.id in wanted]
    words = windows_json(found, snapshot) if as_json else windows_text(found, snapshot)
    put(in_units(words, settings.units))
