"""One tree's season: what was seen, what is likely, what is usual for it."""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.learning.flush_history import histories_of
from phenology.learning.transitions import TARGETS
from phenology.model.records import Tree
from reports.charts.garden_weeks import look_days, undated
from reports.charts.ink import INK, PALE, WASH, bare, date_axis, new_axes
from reports.text.deciding import STATE, last_safe_of, row_date
from reports.text.words import date_range, short_date

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES = {"budbreak": "bud break", "extended": "extended", "hardened": "hard"}


def plot_tree(forecast: GardenForecast, tree: Tree, ax: Axes | None = None) -> Axes:
    """Draw a tree's season, flush by flush and stage by stage.

    Bars span two looks; shading is the forecast, day by day; diamonds are the same stage in past seasons.
    """
    garden = forecast.garden
    season = garden.season
    rows = {(r.flush, r.stage): r for r in forecast.rows if r.tree.id == tree.id and r.season == season}
    seen: dict[tuple[int, str], tuple[float, float]] = {}
    past: dict[tuple[int, str], list[float]] = defaultdict(list)
    for h in histories_of(garden, tree):
        for stage, (after, by) in h.came.items():
            if stage in TARGETS and math.isfinite(after) and math.isfinite(by):
                if h.flush.season == season:
                    seen[h.number, stage] = (after, by)
                elif h.dated(stage) is not None:
                    past[h.number, stage].append((after + by) / 2)
    flushes = sorted({n for n, _ in (*rows, *seen)}) or [1]
    lines = [(n, stage) for n in flushes for stage in TARGETS]
    ax = new_axes(ax, 9, 1.4 + 0.42 * len(lines))
    start = garden.calendar.start(season).toordinal() - 1
    first, last = _reach(seen, past, rows, lines, forecast)
    date_axis(ax, first, last)
    for y, key in enumerate(lines):
        ax.axhline(y, color=PALE, lw=0.5, zorder=0)
        row = rows.get(key)
        if row is not None and undated(row):
            days = [day.toordinal() + 0.5 for day in look_days(row, forecast)]
            ax.plot(days, [y] * len(days), ls="", marker="o", ms=3.5, color=INK, zorder=3)
        elif row is not None and row.arrival is not None:
            daily = np.diff(row.arrival.curve)
            for n in np.flatnonzero(daily > 0.004).tolist():
                strength = 0.12 + 0.8 * float(daily[n] / daily.max())
                ax.fill_between([start + n + 1, start + n + 2], y - 0.3, y + 0.3, color=WASH, lw=0,
                                alpha=strength, zorder=1)  # fmt: skip
        if key in seen:
            left, right = (start + 1 + t for t in seen[key])
            ax.fill_between(
                [left, right], y - 0.17, y + 0.17, facecolor="white", edgecolor=INK, lw=1, zorder=3
            )
        days = past.get(key, [])
        ax.plot([start + 1 + t for t in days], [y] * len(days), ls="", marker="D", ms=4.5,
                mfc="white", mec=INK, mew=0.8, zorder=4)  # fmt: skip
        stop = last_safe_of(row) if row else None
        if stop is not None and key[1] == "hardened":
            x = stop.toordinal() + 1
            ax.plot([x, x], [y - 0.42, y + 0.42], color=INK, lw=2.2, zorder=5)
            ax.plot([x, x + 2.2], [y, y], color=INK, lw=2.2, zorder=5)
    _works(ax, forecast, tree, first, last)
    ax.axvline(garden.as_of.toordinal() + 0.5, color=INK, lw=1, ls=(0, (1, 2)), zorder=3)
    many = len(flushes) > 1
    ax.set_yticks(range(len(lines)), [f"flush {n}: {NAMES[s]}" if many else NAMES[s] for n, s in lines])
    ax.set_ylim(len(lines) - 0.4, -0.9)
    bare(ax)
    ax.set_title(f"{tree.label}, {garden.calendar.label(season)}", loc="left", color=INK)
    dots = "dots: look once a week, no date yet   " if any(undated(r) for r in rows.values()) else ""
    ax.set_xlabel(f"open bar: between two looks   shaded: likely   {dots}◇ past seasons   ▾ work   ┣ stop by",
                  fontsize=8, color=INK, loc="left")  # fmt: skip
    return ax


def _reach(
    seen: dict[tuple[int, str], tuple[float, float]],
    past: dict[tuple[int, str], list[float]],
    rows: dict[tuple[int, str], ForecastRow],
    lines: list[tuple[int, str]],
    forecast: GardenForecast,
) -> tuple[date, date]:
    """First and last day worth drawing."""
    garden = forecast.garden
    start = garden.calendar.start(garden.season)
    days = [t for key in lines for t in (*seen.get(key, ()), *past.get(key, ()))]
    for row in rows.values():
        days += [t for level in (0.02, 0.98) if (t := row.day(level)) is not None]
        if (stop := last_safe_of(row)) is not None:
            days.append(float((stop - start).days))
    days.append(float(garden.today))
    return start + timedelta(days=min(days) - 7), start + timedelta(days=max(days) + 10)


def _works(ax: Axes, forecast: GardenForecast, tree: Tree, first: date, last: date) -> None:
    done: dict[date, list[str]] = defaultdict(list)
    for work in forecast.garden.works_by_tree.get(tree.id, []):
        if first <= work.latest <= last:
            done[work.latest].append(work.operation.replace("-", " "))
    for day, operations in done.items():
        x = day.toordinal() + 0.5
        ax.plot(x, -0.62, marker="v", color=INK, ms=6)
        ax.text(x + 1.5, -0.62, ", ".join(operations), fontsize=8, va="center", color=INK)


def describe_tree(forecast: GardenForecast, tree: Tree) -> str:
    """What the picture shows, in words."""
    parts = []
    for row in forecast.rows:
        if row.tree.id == tree.id:
            low, high = (row_date(row, level, forecast) for level in (0.1, 0.9))
            if undated(row):
                start = short_date(look_days(row, forecast)[0])
                parts.append(f"flush {row.flush}, {NAMES[row.stage]}: look weekly from {start}, no date yet")
            elif low and high:
                parts.append(f"flush {row.flush} probably {STATE[row.stage]} {date_range(low, high)}")
            stop = last_safe_of(row)
            if stop and row.stage == "hardened":
                parts.append(f"stop by {short_date(stop)}")
    season = forecast.garden.calendar.label(forecast.garden.season)
    return f"{tree.label} in {season}: {'; '.join(parts) or 'nothing forecast'}."
