"""This season's warmth among past ones."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from phenology.garden import Garden
from phenology.seasons.ahead import heat_course
from phenology.seasons.compare import BASE_C
from phenology.units import c_to_f, degree_days_c_to_f
from reports.charts.ink import INK, PALE, WASH, bare, new_axes
from reports.words import MONTHS

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHOWN = 30  # past seasons drawn, the latest


def plot_seasons(garden: Garden, ax: Axes | None = None, *, units: str = "C") -> Axes:
    """Draw the warmth gathered this season over those before it.

    Parameters
    ----------
    garden : Garden
    ax : matplotlib Axes, optional
    units : {"C", "F"}
        Of the degree-days.
    """
    ax = new_axes(ax, 8, 4.2)
    bare(ax)
    course = heat_course(garden)
    start = garden.calendar.start(course.season)
    shown = list(course.past.items())[-SHOWN:]
    for k, (season, heat) in enumerate(shown):
        recent = k >= len(shown) - 3
        ax.plot(_inside(heat, units), color=WASH if recent else PALE, lw=1 if recent else 0.7, zorder=1)
        if recent:
            end = _inside(heat, units)
            ax.text(len(end), end[-1], garden.calendar.label(season), fontsize=7, color=WASH, va="center")
    ax.plot(_inside(course.heat, units), color=INK, lw=2.4, zorder=3)
    ax.text(len(course.heat) - 4, _inside(course.heat, units)[-1], garden.calendar.label(course.season),
            ha="right", va="bottom", color=INK, fontweight="bold")  # fmt: skip
    turns = [(_month_after(start, k) - start).days for k in range(12)]
    middles = [(a + b) / 2 for a, b in zip(turns, [*turns[1:], 365], strict=True)]
    ax.set_xticks(middles, [MONTHS[(start + timedelta(days=m)).month - 1] for m in middles])
    ax.set_xlim(0, 380)
    ax.set_ylim(bottom=0)
    base = f"{c_to_f(BASE_C):.0f} °F" if units == "F" else f"{BASE_C:.0f} °C"
    ax.set_ylabel(f"degree-days above {base}", color=INK)
    return ax


def _inside(heat: np.ndarray, units: str) -> np.ndarray:
    return degree_days_c_to_f(heat) if units == "F" else heat


def _month_after(start: date, months: int) -> date:
    return date(start.year + (start.month - 1 + months) // 12, (start.month - 1 + months) % 12 + 1, start.day)


def describe_seasons(garden: Garden) -> str:
    """What the picture shows, in words."""
    course = heat_course(garden)
    label = garden.calendar.label(course.season)
    return f"Warmth gathered in {label} over {len(course.past)} past seasons: {course.words}."
