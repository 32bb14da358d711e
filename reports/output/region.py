"""What maps of a region show, in a few numbers and words."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from phenology.language.date_style import date_range, full_date, short_date
from phenology.region.cells import LIMITS
from reports.text.words import counted

if TYPE_CHECKING:
    import xarray as xr


@dataclass(frozen=True)
class Quantity:
    """One quantity of a map, over the cells.

    Values are days since `epoch`, or chances where that is None; NaN where there is none.
    """

    title: str
    values: xr.DataArray
    epoch: date | None
    least: float
    most: float

    def words(self) -> str:
        """Ends and the middle cell."""
        if np.isnan(self.least):
            return "in no cell"
        middle = float(self.values.median())
        if self.epoch is None:
            return f"{self.least:.2f} to {self.most:.2f}, middle cell {middle:.2f}"
        first, last, at = (
            self.epoch + timedelta(days=int(np.floor(t))) for t in (self.least, self.most, middle)
        )
        return f"{date_range(first, last)}, middle cell {short_date(at)}"


def quantities(maps: xr.Dataset) -> list[Quantity]:
    """The four quantities that are told and drawn: medians of two stages, the stop, the second flush."""
    made = []
    for name, title in (
        ("budbreak", "Bud break"),
        ("hardened", "Leaves hard"),
        ("last_safe", "Last safe day of work"),
        ("second_flush_ripens", "Odds that a second flush ripens"),
    ):
        values = maps[name].sel(level=0.5, drop=True) if "level" in maps[name].dims else maps[name]
        values = values.compute()
        units = str(values.attrs["units"])
        epoch = date.fromisoformat(units.rpartition(" ")[2]) if units.startswith("days since") else None
        known = bool(np.isfinite(values).any())
        least, most = (float(values.min()), float(values.max())) if known else (np.nan, np.nan)
        made.append(Quantity(title, values, epoch, least, most))
    return made


def region_lines(maps: xr.Dataset) -> Iterator[str]:
    """What the maps show, a line a quantity."""
    limit = maps["last_safe_limit"].compute()
    cells, known = int(limit.size), int(np.isfinite(limit).sum())
    by = "the catalogue alone" if maps.attrs["calibration"] == "species catalogue" else "a garden's looks"
    day = full_date(date.fromisoformat(maps.attrs["as_of"]))
    without = f", {cells - known:,} without weather" if known < cells else ""
    yield f"{maps.attrs['species']} in {known:,} cells{without}, as known on {day}, by {by}."
    for quantity in quantities(maps):
        yield f"  {quantity.title}: {quantity.words()}."
    free, never = (int((limit == LIMITS.index(name)).sum()) for name in ("none", "no day is safe"))
    if free:
        yield f"  Nothing limits work in {counted(free, 'cells')}."
    if never:
        yield f"  No day of work is safe in {counted(never, 'cells')}."
    unknown = maps["days_unknown"].compute()
    if bool((unknown > 0).any()):
        gaps = counted(int((unknown > 0).sum()), "cells")
        yield (
            f"  Days were unknown, or had a minimum above the maximum, in {gaps} "
            f"(at most {int(unknown.max()):,} days in one); they are filled, and dates are the wider."
        )
