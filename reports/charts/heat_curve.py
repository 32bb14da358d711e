"""How fast each clock runs at each temperature: what the method calls heat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from phenology.heat.clocks import HEAT_CLOCKS, REFERENCE_C, Clock
from phenology.model.units import c_to_f
from reports.charts.ink import INK, PALE, RULE, WASH, bare, new_axes

if TYPE_CHECKING:
    from matplotlib.axes import Axes

COLDEST, HOTTEST, TOP = -2.0, 45.0, 2.6
NUMBERS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight")
STROKES = ("-", (0, (5, 2)), (0, (1.5, 1.5)))  # told apart without colour


def plot_heat_curve(ax: Axes | None = None, *, units: str = "C") -> Axes:
    """Draw what a day at one steady temperature counts, by each clock of warmth, and by plain days."""
    ax = new_axes(ax, 8, 4.4)
    bare(ax)
    steady = np.arange(COLDEST, HOTTEST + 0.1, 0.25)
    at = c_to_f(steady) if units == "F" else steady
    rising = [c for c in HEAT_CLOCKS if c.kind == "sine"]
    falling = [c for c in HEAT_CLOCKS if c.kind == "falling"]
    for clock in rising:
        rate = clock.rates(steady, steady)
        ax.plot(at[rate <= TOP], rate[rate <= TOP], color=WASH, lw=1, zorder=2)
        end = int(np.flatnonzero(rate <= TOP)[-1])
        ax.text(at[end], rate[end] + 0.03, _shown(clock.base, units), ha="center", va="bottom", fontsize=8,
                color=WASH)  # fmt: skip
    for clock, stroke in zip(falling, STROKES, strict=True):
        name = f"from {_shown(clock.base, units)}°, none at {_shown(clock.ceiling, units)}°"
        ax.plot(at, clock.rates(steady, steady), color=INK, lw=2, ls=stroke, zorder=3, label=name)
    ax.axhline(1, color=RULE, lw=1, ls=(0, (1, 3)), zorder=1)
    ax.text(at[0], 1.03, "plain days, and the date", fontsize=8, color=INK)
    ax.axvline(float(c_to_f(REFERENCE_C)) if units == "F" else REFERENCE_C, color=PALE, lw=1, zorder=0)
    first = float(at[int(np.flatnonzero(rising[0].rates(steady, steady) <= TOP)[-1])])
    ax.text(first, TOP + 0.2, "thin: heat above", ha="right", fontsize=8, color=WASH)
    ax.set_xlim(float(at[0]), float(at[-1]))
    ax.set_ylim(0, TOP + 0.3)
    ax.set_xlabel(f"a day at a steady temperature, °{units}", color=INK)
    ax.set_ylabel(f"counts as so many days at {_shown(REFERENCE_C, units)} °{units}", color=INK)
    ax.legend(loc="upper left", frameon=False, fontsize=8, labelcolor=INK, handlelength=3.5)
    return ax


def describe_heat_curve(units: str = "C") -> str:
    """What the picture shows, in words.

    Examples
    --------
    >>> describe_heat_curve().split(":")[0]
    'What a day at a steady temperature counts'
    """
    agree, fastest, still = (
        f"{_shown(t, units)} °{units}" for t in (REFERENCE_C, Clock.optimum, Clock.ceiling)
    )
    kinds = [clock.kind for clock in HEAT_CLOCKS]
    rising, falling = NUMBERS[kinds.count("sine")], NUMBERS[kinds.count("falling")]
    return (
        f"What a day at a steady temperature counts: all ways of counting agree at {agree}. "
        f"{rising.capitalize()} rise steadily from their base; {falling} are fastest at {fastest} and stand "
        f"still at {still}; plain days and the date count every day alike."
    )


def _shown(celsius: float, units: str) -> str:
    return f"{float(c_to_f(celsius)) if units == 'F' else celsius:g}"
