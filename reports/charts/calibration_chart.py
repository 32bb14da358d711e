"""What the looks have taught, in thermal time, beside what the catalogue guessed."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

from phenology.heat.clocks import CLOCKS, REFERENCE_C
from phenology.language.degrees import degrees
from phenology.learning.calibration import Calibrated, calibrate
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import all_transitions
from phenology.model.season import NEVER
from reports.charts.ink import INK, PALE, PAPER, RANGE, SOFT, bare, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TICKS = (3, 5, 10, 15, 20, 30, 40, 60, 80)


def plot_calibration(
    fit: GardenFit, species: str | None = None, ax: Axes | None = None, *, units: str = "C"
) -> Axes:
    """Draw what was learned of each step: a row a species, its own waits as dots, the guess as a thin mark.

    `species` is a Latin name; without it every species kept is drawn.
    """
    order = [transition.words for transition in all_transitions()]
    rows = sorted(calibrate(fit, species), key=lambda row: order.index(row.transition.words))
    names = {row.species: _name(fit, row.species) for row in rows}
    ax = new_axes(ax, 9, 1.5 + 0.42 * len(rows))
    ax.set_xscale("log")
    before = None
    for y, row in enumerate(rows):
        if species is None and row.transition != before and y:
            ax.axhline(y - 0.5, color=PALE, lw=0.7, zorder=0)
        before = row.transition
        middle, low, high = row.days
        ax.plot([low, high], [y, y], color=RANGE, lw=5, solid_capstyle="butt", zorder=2)
        ax.plot([middle] * 2, [y - 0.3, y + 0.3], color=INK, lw=2.5, zorder=4)
        ax.plot([row.prior_days] * 2, [y - 0.22, y + 0.22], color=SOFT, lw=0.9, ls=(0, (2, 2)), zorder=3)
        dots = [math.sqrt(low * high) for low, high in _readings(fit, row)]
        ax.plot(dots, [y - 0.24] * len(dots), ls="", marker="o", ms=4, mfc=PAPER, mec=INK, mew=0.8, zorder=5)
        known = f"{row.seasons} {'season' if row.seasons == 1 else 'seasons'}"
        beside = ax.get_yaxis_transform()
        ax.text(1.01, y, known, fontsize=9, color=SOFT, transform=beside, va="center_baseline")
    ax.set_yticks(range(len(rows)), [_label(row, species, names) for row in rows])
    ax.set_ylim(len(rows) - 0.4, -0.75)
    ax.set_xticks(TICKS, [str(t) for t in TICKS])
    ax.minorticks_off()
    ax.set_xlim(2.5, 100)
    bare(ax)
    ax.set_title(names.get(species or "", "What the looks have taught"), loc="left", color=INK)
    steady = degrees(REFERENCE_C, units, sign=" °")
    words = f"days at a steady {steady}: a dot for each wait of your own, upright the middle learned,"
    words = f"{words}\nthe bar four in five, dashed the catalogue's guess"
    ax.set_xlabel(words, fontsize=9, color=INK, loc="left")
    return ax


def _label(row: Calibrated, species: str | None, names: Mapping[str, str]) -> str:
    return row.transition.words if species else f"{names[row.species]}, {row.transition.words}"


def _name(fit: GardenFit, species: str) -> str:
    return fit.garden.species[species].name if species in fit.garden.species else species


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


def describe_calibration(fit: GardenFit, species: str | None = None, *, units: str = "C") -> str:
    """What the picture shows, in words."""
    steady = degrees(REFERENCE_C, units)
    parts = [
        f"{'' if species else f'{r.species}, '}{r.transition.words}: {r.days[0]:.0f} days at {steady}, "
        f"four in five {r.days[1]:.0f} to {r.days[2]:.0f}; the catalogue guessed {r.prior_days:.0f}"
        for r in calibrate(fit, species)
    ]
    return f"How long each step{f' of {species}' if species else ''} takes. {'. '.join(parts)}."
