"""Maps of a region: when buds break and leaves harden, when to stop, and whether a second flush ripens."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from phenology.language.date_style import date_range, full_date, short_date
from phenology.model.arrays import Array
from phenology.model.errors import InputError
from phenology.region.cells import LIMITS
from reports.charts.ink import INK, PALE, WASH, bare
from reports.views.words import counted

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes


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


FINEST = 800  # cells drawn along an axis; of more every so many (ours)


def plot_region(maps: xr.Dataset, ax: Axes | None = None) -> Axes:
    """Draw the four maps of a region side by side; of one quantity where axes are given.

    Darker is later, or likelier; blank where there is no weather or no such day. The first map's axes are
    returned; cells that lie on no one or two axes, or have no longitude, raise `InputError`.
    """
    shown = quantities(maps)
    if ax is not None:
        _draw(ax, shown[0])
        return ax
    from matplotlib.figure import Figure

    figure = Figure(figsize=(10, 7.6), layout="constrained")
    axes: list[Axes] = list(figure.subplots(2, 2).flat)
    for one, quantity in zip(axes, shown, strict=True):
        _draw(one, quantity)
    figure.supxlabel(
        f"{maps.attrs['species']}, as known on {maps.attrs['as_of']}. Darker is later, or likelier; blank: "
        "no weather, or no such day. The leaf decides.",
        fontsize=8, color=INK, x=0.01, ha="left",
    )  # fmt: skip
    return axes[0]


def _draw(ax: Axes, quantity: Quantity) -> None:
    from matplotlib.colors import LinearSegmentedColormap
    from matplotlib.ticker import FuncFormatter

    bare(ax)
    ax.spines["bottom"].set_visible(False)
    east, north, values = _grid(quantity.values)
    inks = LinearSegmentedColormap.from_list("ink", ["#eef1f7", PALE, WASH, INK])
    how: dict[str, Any] = {"cmap": inks, "rasterized": True, "vmin": quantity.least, "vmax": quantity.most}
    drawn: Any
    if values.ndim == 1:
        drawn = ax.scatter(east, north, c=values, s=14, marker="s", **how)
    else:
        drawn = ax.pcolormesh(east, north, values, shading="nearest", **how)
    ax.set_aspect(1 / max(np.cos(np.radians(float(np.nanmean(north)))), 0.1))
    ax.set_title(quantity.title, loc="left", color=INK, fontsize=10)
    bar = ax.figure.colorbar(drawn, ax=ax, shrink=0.85)
    bar.outline.set_visible(False)
    if quantity.epoch is not None:
        zero, whole = quantity.epoch, quantity.most - quantity.least
        from phenology.language.date_style import short_date

        bar.set_ticks([quantity.least + whole * k / 4 for k in range(5)] if whole > 4 else [quantity.least])
        bar.ax.yaxis.set_major_formatter(
            FuncFormatter(lambda t, _: short_date(zero + timedelta(days=int(np.floor(t)))))
        )
    bar.ax.tick_params(length=0, colors=INK, labelsize=8)


def _grid(values: xr.DataArray) -> tuple[Array, Array, Array]:
    """Longitudes, latitudes and values, cells left out where there are more than can be seen."""
    thin = {dim: slice(None, None, -(-size // FINEST)) for dim, size in values.sizes.items()}
    values = values.isel(thin).compute()
    places = []
    for standard_name in ("longitude", "latitude"):
        named = [c for c in values.coords.values() if c.attrs.get("standard_name") == standard_name]
        if not named or not 1 <= values.ndim <= 2:
            raise InputError("a picture needs cells on one or two axes, with latitude and longitude")
        places.append(named[0])
    east, north = places
    if values.ndim == 2 and east.ndim == 1:
        values = values.transpose(north.dims[0], east.dims[0])
    return east.to_numpy(), north.to_numpy(), values.to_numpy()


def describe_region(maps: xr.Dataset) -> str:
    """What the picture shows, in words."""

    return " ".join(line.strip().rstrip(".") + "." for line in region_lines(maps))
