"""`flushcast weather undo`: take back the newest file or fetch of daily weather."""

from __future__ import annotations

import click

from data_sources.weather.corrections_refit import refit_corrections
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import InputError
from reports.cli.common import open_garden_option, put
from reports.garden.open_garden import OpenGarden


@click.command("undo")
@click.option("--place", metavar="NAME", help="Where, when the garden has several places.")
@open_garden_option
def undo_command(garden: OpenGarden, place: str | None) -> None:
    """Take back what was added last: its days go, and the values it replaced come back."""
    where = garden.place(place)
    with WeatherStore.open(garden.folder) as store:
        undone = store.take_back(where.id) if store.has(where.id) else None
        units = garden.settings.units
        corrections = refit_corrections(garden.folder, store, where.id, units) if undone else []
    if undone is None:
        raise InputError(f"there is no weather of {where.name} to take back")
    origin = " ".join(filter(None, (undone.origin.provider, undone.origin.detail)))
    restored = f", {undone.restored:,} earlier values are back" if undone.restored else ""
    put(f"{where.name}: took back {origin}: {undone.removed:,} days removed{restored}")
    for line in corrections:
        put(f"{where.name} {line}")
