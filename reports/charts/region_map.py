"""Maps of a region: when buds break and leaves harden, when to stop, and whether a second flush ripens."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from phenology.model.arrays import Array
from phenology.model.errors import InputError
from reports.charts.ink import INK, PALE, WASH, bare
from reports.output.region import Quantity, quantities

if TYPE_CHECKING:
    import xarray as xr
    from matplotlib.axes import Axes

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
    from reports.output.region import region_lines

    return " ".join(line.strip().rstrip(".") + "." for line in region_lines(maps))
