"""`flushcast windows`: what may be done to which tree, when, and what waiting costs."""

from __future__ import annotations

import click

from reports.cli.common import as_of_option, once_a_day, open_garden_option, put
from reports.cli.telling.read_forecast import read_forecast, tell_usual_warmth
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
    from phenology.advice.windows import windows

    wanted = {tree.id for tree in garden.select(" ".join(trees))} if trees else None
    forecast = read_forecast(garden, as_of)
    found = [w for w in windows(forecast) if wanted is None or w.row.tree.id in wanted]
    if as_json:
        from reports.output.ahead import windows_table

        put(windows_table(found).as_json(key="windows", as_of=forecast.garden.as_of))
    else:
        from phenology.work.cautions import WINDOW_LOOKS_FIRST
        from reports.text.windows_text import windows_text
        from reports.text.words import terminal_width

        closing = once_a_day(garden, [WINDOW_LOOKS_FIRST])
        put(windows_text(found, forecast.garden, terminal_width(), closing))
        tell_usual_warmth(forecast.usual_warmth)
