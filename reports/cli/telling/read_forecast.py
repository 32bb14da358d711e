"""A garden's forecast for a command: read on its day, made with a line of progress."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from data_sources.garden import GardenSettings
    from phenology.advice.forecast_rows import GardenForecast


def read_forecast(folder: Path, as_of: str | date | None = None) -> tuple[GardenForecast, GardenSettings]:
    """The forecast of the garden in a folder, and its settings.

    Parameters
    ----------
    folder : Path
    as_of : str or date, optional
        As typed: a day gone by, what came after it forgotten. As a date: the day on which the garden stands.
    """
    from phenology.advice.garden_forecast import forecast_garden
    from reports.garden.garden_date import garden_date
    from reports.garden.skill import read_with_skill
    from reports.text.progress import progress

    day = as_of if isinstance(as_of, date) else garden_date(folder, as_of)
    garden, settings = read_with_skill(folder, day, past=isinstance(as_of, str))
    with progress("tree") as step:
        return forecast_garden(garden, progress=step), settings
