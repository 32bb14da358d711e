"""`flushcast demo`: an invented garden, offline, to a printed forecast."""

from __future__ import annotations

import os
from pathlib import Path

import click

from reports.cli.common import once_a_day, put, read_forecast, say
from reports.garden.open_garden import OpenGarden, one_day


@click.command("demo")
@click.option("--dir", "folder", type=click.Path(path_type=Path), default=Path("flushcast-demo"),
              metavar="DIR", help="Where to make the garden (default: flushcast-demo).")  # fmt: skip
@click.option("--date", "day", metavar="DATE",
              help="The day it stands on, 'today' included (default: 14 June).")  # fmt: skip
@click.option("--south", is_flag=True, help="The same garden in the southern hemisphere.")
def demo_command(folder: Path, day: str | None, south: bool) -> None:
    """Make an invented garden and print its forecast; needs no network."""
    from data_sources.demo.garden import demo_day, store_demo
    from phenology.advice.agenda import make_agenda
    from phenology.language.vague_dates import parse
    from reports.garden.clock import today
    from reports.text.forecast_text import CLOSING, forecast_text
    from reports.text.words import terminal_width

    now = today()
    stands_on = (
        demo_day(now, south=south) if day is None else one_day(day, lambda text: parse(text, today=now))
    )
    if store_demo(folder, stands_on, south=south):
        say(f"Made an invented garden in {folder}: 12 trees, four past seasons, and this one to {stands_on}.")
    else:
        say(f"Using the demo garden already in {folder}; remove the folder to start afresh.")
    with OpenGarden(folder) as opened:
        forecast, closing = read_forecast(opened), once_a_day(opened, CLOSING)
    say()
    put(forecast_text(make_agenda(forecast), terminal_width(), closing=closing))
    if day is None and today() != forecast.garden.as_of and os.environ.get("FLUSHCAST_TODAY"):
        say(f"\nFLUSHCAST_TODAY does not move the demo; --date {today()} does.")
    say(f"\nIt stands still on {forecast.garden.as_of}. Try next:")
    for line in ('look "maples" stopped', "forecast", "plan quince", "calibrate hornbeam", "compare"):
        say(f"  flushcast --garden {folder} {line}")
