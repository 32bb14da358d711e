"""Past forecasts of a garden, made again or taken from where they are kept."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

from data_sources.kept.past_forecasts import keep_forecasts, read_forecasts
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS
from phenology.judging.past_forecasts import PastForecast, past_forecasts
from phenology.learning.garden_fit import GardenFit
from reports.garden.skill import VERSION
from reports.text.progress import Step


def garden_past(
    folder: Path,
    garden: Garden,
    *,
    past: bool = False,
    say: Callable[[str], None] = lambda _: None,
    progress: Step | None = None,
) -> list[PastForecast]:
    """Every past forecast of every species, as `past_forecasts` makes them.

    Parameters
    ----------
    folder : Path
        The garden's, where they are kept.
    garden : Garden
    past : bool
        Whether the garden is asked about in the past; those forecasts are not kept.
    say : callable
        Told when the reckoning begins, which takes some seconds.
    progress : callable, optional
        Told (flushes forecast, flushes to forecast) while it goes on.
    """
    key = _key(garden)
    kept = read_forecasts(folder, key)
    if kept is not None:
        return kept
    if garden.looks:
        say("Looking back on past seasons, which takes some seconds ...")
    made = past_forecasts(GardenFit(garden), progress=progress)
    if not past:
        keep_forecasts(folder, key, made)
    return made


def _key(garden: Garden) -> str:
    """What the forecasts depend on, as a short text: all records, all weather, the clocks."""
    digest = hashlib.sha256()
    rows = (garden.trees, garden.stands, garden.flushes, garden.looks, garden.works, garden.places, CLOCKS)
    for told in (garden.as_of, garden.calendar, *rows):
        digest.update(repr(told).encode())
    for species in sorted({tree.species for tree in garden.trees}):
        digest.update(repr(garden.species.get(species)).encode())
    for place, series in sorted(garden.weather.items()):
        digest.update(f"{place} {series.first_day}".encode())
        for values in (series.tmin, series.tmax):
            digest.update(values.tobytes())
    return f"{VERSION}|{digest.hexdigest()}"
