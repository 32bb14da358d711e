"""A garden read on a day of the test's own."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from data_sources.garden import GardenSettings
from phenology.garden import Garden
from reports.garden.open_garden import OpenGarden


def read_garden(folder: Path, day: date, *, past: bool = False) -> tuple[Garden, GardenSettings]:
    """The garden as if `day` were today; with `past`, records after it are left out."""
    with OpenGarden(folder) as opened:
        opened.today = day
        return opened.snapshot(day if past else None), opened.settings
