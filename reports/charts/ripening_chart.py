"""What waiting costs: the odds that growth woken by a cut ripens, by the day of the cut, with the stop."""

from __future__ import annotations

import math
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from phenology.advice.adviser import late_seasons
from phenology.garden import Garden
from phenology.model.records import Tree
from phenology.work.grades import odds_in_tenths
from phenology.work.last_safe import Late, is_old
from reports.charts.ink import INK, LATE, PAPER, SOFT, bare, date_axis, new_axes
from reports.text.words import short_date

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WAITS = (0, 14, 28)  # days from today whose odds are written beside the curve


def plot_ripening(garden: Garden, tree: Tree, ax: Axes | None = None) -> Axes:
    """Draw the odds that what a cut wakes is hard in time, against the day of the cut.

    Raises
    ------
    WeatherError
        Where the tree stands without weather.
    """
    late, stop = _late(garden, tree)
    ax = new_axes(ax, 8, 3.8)
    start = garden.calendar.start(garden.season).toordinal()
    days = np.arange(min(float(late.curve.days[0]), late.today), float(late.curve.days[-1]) + 1)
    date_axis(ax, date.fromordinal(int(start + days[0])), date.fromordinal(int(start + days[-1])))
    bare(ax)
    ax.plot(start + days, [late.curve.odds(day) for day in days], color=INK, lw=2, zorder=3)
    ax.axhline(late.limits.odds, color=SOFT, lw=0.8, ls=(0, (4, 3)), zorder=1)
    if stop is not None:
        at = stop.toordinal() + 1
        ax.axvspan(at, start + days[-1] + 1, color=LATE, lw=0, zorder=0)
        ax.axvline(at, color=INK, lw=3, zorder=4)
        ax.annotate(f"stop by {short_date(stop)}", (at, 0.04), (6, 0), color=INK, textcoords="offset points")
    ax.axvline(start + late.today - 0.5, color=INK, lw=1, zorder=2)
    for wait in WAITS:
        day, odds = late.today + wait, late.curve.odds(late.today + wait)
        ax.plot(start + day - 0.5, odds, marker="o", ms=6, mfc=INK, mec=PAPER, zorder=5)
    ax.set_ylim(0, 1.04)
    ax.set_yticks([0, 0.5, 0.8, 0.9, 1], ["never", "5 in 10", "8 in 10", "9 in 10", "always"])
    ax.set_title(f"{tree.label}: odds that new growth ripens, by the day of the cut", loc="left", color=INK)
    return ax


def describe_ripening(garden: Garden, tree: Tree) -> str:
    """What the picture shows, in words."""
    late, stop = _late(garden, tree)
    now, fortnight, three_weeks = map(odds_in_tenths, late.odds())
    until = f" Stop by {short_date(stop)}: {late.reason(_asked(garden, tree))}." if stop else ""
    return (
        f"{tree.label}: that new growth ripens is {now} if it is cut today, {fortnight} in two weeks, "
        f"{three_weeks} in three.{until}"
    )


def _late(garden: Garden, tree: Tree) -> tuple[Late, date | None]:
    late = late_seasons(garden).late(tree.species, garden.site(tree, garden.season))
    day = late.stop(_asked(garden, tree)).day
    return late, None if math.isinf(day) else garden.calendar.date(garden.season, day)


def _asked(garden: Garden, tree: Tree) -> float:
    return garden.limits.required(is_old(tree.vigour, tree.note))
