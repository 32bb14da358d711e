"""One tree's season: what was seen, what is likely, what is usual for it."""

from __future__ import annotations

from collections import defaultdict
from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.learning.flush_history import histories_of
from phenology.learning.transitions import TARGETS
from phenology.model.records import Tree
from reports.charts.garden_weeks import range_words
from reports.charts.ink import (
    DOTS,
    INK,
    PALE,
    WASH,
    bare,
    date_axis,
    legend_line,
    mark_looks,
    mark_seen,
    mark_stop,
    mark_today,
    new_axes,
)
from reports.text.forecast_text import STATE
from reports.text.words import short_date

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES = {"budbreak": "bud break", "extended": "extended", "hardened": "hard"}
Key = tuple[int, str]
"""Flush and stage: a line of the picture."""


def plot_tree(forecast: GardenForecast, tree: Tree, ax: Axes | None = None) -> Axes:
    """Draw a tree's season, flush by flush and stage by stage.

    Bars span two looks; shading is the forecast, day by day; diamonds are the same stage in past seasons.
    """
    garden, season = forecast.garden, forecast.garden.season
    steps = {(s.flush, s.stage): s for s in _steps(forecast, tree) if s.season == season}
    seen: dict[Key, tuple[float, float]] = {}
    past: dict[Key, list[float]] = defaultdict(list)
    for h in histories_of(garden, tree):
        for stage in TARGETS:
            if (looks := h.bracket(stage)) is None or not np.isfinite(looks[1]):
                continue
            if h.flush.season == season:
                seen[h.number, stage] = looks
            elif h.dated(stage) is not None:
                past[h.number, stage].append(sum(looks) / 2)
    flushes = sorted({n for n, _ in (*steps, *seen)}) or [1]
    lines = [(n, stage) for n in flushes for stage in TARGETS]
    ax = new_axes(ax, 9, 1.4 + 0.42 * len(lines))
    start = garden.calendar.start(season)
    days = [t for key in lines for t in (*seen.get(key, ()), *past.get(key, ()))]
    days += [t for step in steps.values() for t in _reach(step)]
    days.append(float(garden.today))
    first, last = start + timedelta(days=min(days) - 7), start + timedelta(days=max(days) + 10)
    date_axis(ax, first, last)
    for y, key in enumerate(lines):
        ax.axhline(y, color=PALE, lw=0.5, zorder=0)
        if (step := steps.get(key)) is not None:
            _shade(ax, y, step)
        if key in seen:
            mark_seen(ax, y, *(start.toordinal() + t for t in seen[key]))
        usual = [start.toordinal() + t for t in past.get(key, ())]
        ax.plot(usual, [y] * len(usual), ls="", marker="D", ms=4.5, mfc="white", mec=INK, mew=0.8, zorder=4)
    _works(ax, forecast, tree, first, last)
    mark_today(ax, garden.as_of)
    many = len(flushes) > 1
    ax.set_yticks(range(len(lines)), [f"flush {n}: {NAMES[s]}" if many else NAMES[s] for n, s in lines])
    ax.set_ylim(len(lines) - 0.4, -0.9)
    bare(ax)
    ax.set_title(f"{tree.label}, {garden.calendar.label(season)}", loc="left", color=INK)
    legend_line(
        ax, "open bar: between two looks", "shaded: likely",
        DOTS if any(step.undated for step in steps.values()) else "", "◇ past seasons", "▾ work", "┣ stop by",
    )  # fmt: skip
    return ax


def _steps(forecast: GardenForecast, tree: Tree) -> list[ForecastRow]:
    return [row for row in forecast.rows if row.tree.id == tree.id]


def _reach(step: ForecastRow) -> list[float]:
    """Days of the season that a step's marks reach to."""
    days = [t for level in (0.02, 0.98) if (t := step.day(level)) is not None]
    if step.last_safe is not None:
        days.append(float((step.last_safe - step.garden.calendar.start(step.season)).days))
    return days


def _shade(ax: Axes, y: int, step: ForecastRow) -> None:
    if step.undated:
        mark_looks(ax, y, *step.weekly)
    elif step.arrival is not None:
        daily, start = (
            np.diff(step.arrival.curve),
            step.garden.calendar.start(step.season).toordinal(),
        )
        for n in np.flatnonzero(daily > 0.004).tolist():
            ax.fill_between([start + n, start + n + 1], y - 0.3, y + 0.3, color=WASH, lw=0, zorder=1,
                            alpha=0.12 + 0.8 * float(daily[n] / daily.max()))  # fmt: skip
    if step.last_safe is not None:
        mark_stop(ax, y, step.last_safe)


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
    for step in _steps(forecast, tree):
        name = f"flush {step.flush}{f', {NAMES[step.stage]}:' if step.undated else ''}"
        if words := range_words(step, STATE[step.stage]):
            parts.append(f"{name} {words}")
        if step.last_safe is not None:
            parts.append(f"stop by {short_date(step.last_safe)}")
    season = forecast.garden.calendar.label(forecast.garden.season)
    words = f"{tree.label} in {season}: {'; '.join(parts) or 'nothing forecast'}."
    return f"{words} {forecast.usual_warmth}".strip()
