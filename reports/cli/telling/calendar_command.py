"""`flushcast calendar`: the forecast for the phone's calendar."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import open_garden_option, say
from reports.garden.open_garden import OpenGarden


@click.command("calendar")
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.ics",
              help="The calendar file; written again, it brings its events up to date.")  # fmt: skip
@open_garden_option
def calendar_command(garden: OpenGarden, out: Path) -> None:
    """Write looks, windows, stop dates and care after work as all-day events.

    Write it to the same file after every look: events move instead of piling up.
    """
    from phenology.advice.garden_forecast import forecast_garden
    from reports.garden.past_forecasts import read_with_skill
    from reports.output.calendar_file import calendar_text, events_before, events_of
    from reports.output.files_out import write_whole
    from reports.text.progress import progress

    before = events_before(out.read_bytes()) if out.exists() else {}
    snapshot, settings = read_with_skill(garden), garden.settings
    with progress("tree") as step:
        forecast = forecast_garden(snapshot, progress=step)
    write_whole(out, calendar_text(forecast, settings.name, before))
    kinds = [event.key[-1] for event in events_of(forecast)]
    say(f"Wrote {out}: {_counted(kinds)}.")


def _counted(kinds: list[str]) -> str:
    names = {
        "look": ("look", "looks"),
        "window": ("window", "windows"),
        "stop": ("stop date", "stop dates"),
        "wire": ("wire look", "wire looks"),
        "care": ("care date", "care dates"),
    }
    parts = [f"{n} {names[k][n > 1]}" for k in names if (n := kinds.count(k))]
    return ", ".join(parts) or "nothing to look at in the coming months"
