"""A garden's forecast for a command, made with a line of progress."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reports.cli.common import tell

if TYPE_CHECKING:
    from phenology.advice.forecast_rows import GardenForecast
    from reports.garden.open_garden import OpenGarden


def tell_usual_warmth(note: str) -> None:
    """Say that dates rest on the usual warmth of the latitude, where they do."""
    if note:
        tell(note)


def read_forecast(garden: OpenGarden, as_of: str | None = None) -> GardenForecast:
    """The forecast of a garden, today or as of a day gone by as typed."""
    from phenology.advice.garden_forecast import forecast_garden
    from reports.garden.past_forecasts import read_with_skill
    from reports.text.progress import progress

    snapshot = read_with_skill(garden, as_of)
    with progress("tree") as step:
        return forecast_garden(snapshot, progress=step)
