"""What the looks have taught, in thermal time, beside what the catalogue guessed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from phenology.heat.clocks import CLOCKS, REFERENCE_C
from phenology.language.degrees import degrees
from phenology.learning.calibration import Calibrated, calibrate
from phenology.learning.garden_fit import GardenFit
from phenology.model.season import NEVER
from reports.charts.ink import INK, PALE, WASH, bare, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TICKS = (5, 10, 15, 20, 30, 40, 60, 80)


def plot_calibration(fit: GardenFit, species: str, ax: Axes | None = None, *, units: str = "C") -> Axes:
    """Draw each step of a species: the catalogue's belief, what is believed now, and every wait on record.

    Parameters
    ----------
    fit : GardenFit
    species : str
        Latin name.
    ax : matplotlib Axes, optional
    units : {"C", "F"}
        Of the temperature that days are counted at.
    """
    rows = list(calibrate(fit, species))
    ax = new_axes(ax, 8, 1.5 + 0.8 * len(rows))
    ax.set_xscale("log")
    for y, row in enumerate(rows):
        _prior(ax, y, fit, row)
        for k, (low, high) in enumerate(_readings(fit, row)):
            at = y + 0.18 + 0.05 * (k % 4)
            ax.plot([low, high], [at, at], color=WASH, lw=1.4, zorder=2, solid_capstyle="butt")
        middle, low, high = row.days
        ax.plot([low, high], [y, y], color=INK, lw=5, solid_capstyle="butt", zorder=3)
        ax.plot(middle, y, marker="o", mfc="white", mec=INK, ms=7, zorder=4)
    ax.set_yticks(range(len(rows)), [f"{r.transition.words}\n{r.seasons} seasons" for r in rows])
    ax.set_ylim(len(rows) - 0.4, -0.75)
    ax.set_xticks(TICKS, [str(t) for t in TICKS])
    ax.minorticks_off()
    ax.set_xlim(4, 100)
    bare(ax)
    name = fit.garden.species[species].name if species in fit.garden.species else species
    ax.set_title(name, loc="left", color=INK)
    steady = degrees(REFERENCE_C, units, sign=" °")
    ax.set_xlabel(f"days at a steady {steady}   hill: the catalogue's guess   ━ four in five, now   "
                  "thin: your waits, look to look", fontsize=8, color=INK, loc="left")  # fmt: skip
    return ax


def _prior(ax: Axes, y: int, fit: GardenFit, row: Calibrated) -> None:
    days, sd = fit.prior(row.species, row.transition)
    z = np.linspace(-2.6, 2.6, 80)
    ax.fill_between(days * np.exp(sd * z), y, y - 0.6 * np.exp(-(z**2) / 2), color=PALE, lw=0, zorder=1)


def _readings(fit: GardenFit, row: Calibrated) -> list[tuple[float, float]]:
    """Every finished wait as the best clock that counts warmth reads it, from look to look."""
    shares = fit.requirement(row.transition).clock_shares
    heat = [c for c, clock in enumerate(CLOCKS) if not clock.by_calendar]
    best = max(heat, key=lambda c: float(shares[c]))
    waits = [w for w in fit.waits(row.transition) if w.species == row.species and w.target[1] != NEVER]
    thermal_time = fit.garden.thermal_time({(w.site, w.season) for w in waits})
    out = []
    for w in waits:
        if (w.site, w.season) in thermal_time and math.isfinite(w.target[0]):
            read = thermal_time[w.site, w.season].thermal_time
            low, high = (
                float(read.at(t)[best] - read.at(w.anchor_middle)[best]) for t in (w.target[0], w.target[1])
            )
            if high > 0:
                out.append((max(low, 1.0), max(high, 1.0)))
    return out


def describe_calibration(fit: GardenFit, species: str, *, units: str = "C") -> str:
    """What the picture shows, in words."""
    steady = degrees(REFERENCE_C, units)
    parts = [
        f"{r.transition.words}: {r.days[0]:.0f} days at {steady}, four in five {r.days[1]:.0f} to "
        f"{r.days[2]:.0f}; the catalogue guessed {r.prior_days:.0f}"
        for r in calibrate(fit, species)
    ]
    return f"How long each step of {species} takes. {'. '.join(parts)}."
