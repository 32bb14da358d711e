"""`flushcast calendar`: the forecast for the phone's calendar."""

from __future__ import annotations

from pathlib import Path

import click

from reports.cli.common import open_garden_option, say
from reports.cli.telling.read_forecast import read_forecast, tell_usual_warmth
from reports.garden.open_garden import OpenGarden

KINDS = {"look": "look", "window": "window", "stop": "stop date", "wire": "wire look", "care": "care date"}


@click.command("calendar")
@click.option("--out", required=True, type=click.Path(path_type=Path, dir_okay=False), metavar="FILE.ics",
              help="The calendar file; written again, it brings its events up to date.")  # fmt: skip
@open_garden_option
def calendar_command(garden: OpenGarden, out: Path) -> None:
    """Write looks, windows, stop dates and care after work as all-day events.

    Write it to the same file after every look: events move instead of piling up.
    """
    from data_sources.disk.whole_files import read_output, write_output
    from reports.output.calendar_file import calendar_text, events_before, events_of

    there = read_output(out)
    before = events_before(there) if there is not None else {}
    forecast = read_forecast(garden)
    write_output(out, calendar_text(forecast, garden.settings.name, before))
    kinds = [event.kind for event in events_of(forecast)]
    parts = [f"{n} {KINDS[kind]}{'' if n == 1 else 's'}" for kind in KINDS if (n := kinds.count(kind))]
    say(f"Wrote {out}: {', '.join(parts) or 'nothing to look at in the coming months'}.")
    tell_usual_warmth(forecast.usual_warmth)
