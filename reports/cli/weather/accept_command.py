"""`flushcast weather accept`: use days that were marked as doubtful."""

from __future__ import annotations

from datetime import date

import click

from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import InputError
from reports.cli.common import open_garden_option, put
from reports.garden.open_garden import OpenGarden


@click.command("accept")
@click.argument("days", nargs=-1, metavar="DATE...")
@click.option("--all", "every", is_flag=True, help="Accept every doubtful day of the place.")
@click.option("--place", metavar="NAME", help="Where, when the garden has several places.")
@open_garden_option
def accept_command(garden: OpenGarden, days: tuple[str, ...], every: bool, place: str | None) -> None:
    """Use the doubtful days given (as 2026-07-19), or all of them.

    Doubtful days are kept apart until then; look at them with `flushcast weather status`.
    """
    if bool(days) == every:
        raise click.UsageError("give the days to accept, or --all")
    where = garden.place(place)
    wanted = [_day(text) for text in days]
    with WeatherStore.open(garden.folder) as store:
        doubtful = {doubt.day for doubt in store.suspicious_days(where.id) if not doubt.accepted}
        unknown = [day for day in wanted if day not in doubtful]
        if unknown:
            raise InputError(
                f"{unknown[0]} is not among the doubtful days; `flushcast weather status` lists them"
            )
        count = store.accept(where.id, None if every else wanted)
    put(f"accepted {count:,} {'day' if count == 1 else 'days'} for {where.name}")


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"'{text}' is not a date; write it as 2026-07-19") from None
