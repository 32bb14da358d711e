"""One tree's season: what was seen, what is likely, what is usual for it."""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.learning.flush_history import histories_of
from phenology.learning.transitions import TARGETS
from phenology.model.records import Tree
from reports.charts.agenda_rows import step_marks
from reports.charts.garden_weeks import range_words
from reports.charts.ink import INK, PALE, PAPER, bare, date_axis, mark_seen, new_axes
from reports.charts.row_drawing import Axis, Mark, draw_row, explain
from reports.text.forecast_text import STATE
from reports.text.words import short_date

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES = {"budbreak": "bud break", "extended": "extended", "hardened": "hard"}
LANE = 0.13  # from a row's middle to its lower and upper lane
Key = tuple[int, str]
"""Flush and stage: a line of the picture."""


def plot_tree(forecast: GardenForecast, tree: Tree, ax: Axes | None = None) -> Axes:
    """Draw a tree's season, flush by flush and stage by stage, with the marks of the main picture.

    Open bars span two looks; diamonds are the same stage in past seasons.
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
    keys = [(n, stage) for n in flushes for stage in TARGETS]
    ax = new_axes(ax, 9, 1.6 + 0.42 * len(keys))
    start = garden.calendar.start(season).toordinal()
    marks = {key: _marks(step) for key, step in steps.items()}
    days = [start + t for key in keys for t in (*seen.get(key, ()), *past.get(key, ()))]
    days += [m.first for of_key in marks.values() for m in of_key] + [garden.as_of.toordinal()]
    days += [m.last for of_key in marks.values() for m in of_key if m.kind == "range" and m.last < math.inf]
    first, last = date.fromordinal(int(min(days)) - 7), date.fromordinal(int(max(days)) + 10)
    axis = Axis(first, (last - first).days + 1, (first, 70), garden.as_of.toordinal() + 0.5)
    date_axis(ax, first, last)
    for y, key in enumerate(keys):
        ax.axhline(y + 0.5, color=PALE, lw=0.5, zorder=0)
        draw_row(ax, y, marks.get(key, ()), axis)
        if key in seen:
            mark_seen(ax, y + LANE, *(start + t for t in seen[key]))
        usual = [start + t for t in past.get(key, ())]
        ax.plot(
            usual, [y - LANE] * len(usual), ls="", marker="D", ms=4, mfc=PAPER, mec=INK, mew=0.8, zorder=4
        )
    _works(ax, forecast, tree, first, last)
    many = len(flushes) > 1
    ax.set_yticks(range(len(keys)), [f"flush {n}: {NAMES[s]}" if many else NAMES[s] for n, s in keys])
    ax.set_ylim(len(keys) - 0.4, -0.9)
    bare(ax)
    explain(ax, marks.values(), axis, {"D": "past seasons", "s": "seen, between two looks", "v": "worked"})
    return ax


def _steps(forecast: GardenForecast, tree: Tree) -> list[ForecastRow]:
    return [row for row in forecast.rows if row.tree.id == tree.id]


def _marks(step: ForecastRow) -> list[Mark]:
    stop = step.last_safe
    cut = (
        []
        if stop is None
        else [Mark("late", stop.toordinal() + 1, math.inf), Mark.at("stop", stop.toordinal() + 1)]
    )
    return [*step_marks(step), *cut]


def _works(ax: Axes, forecast: GardenForecast, tree: Tree, first: date, last: date) -> None:
    done: dict[date, list[str]] = defaultdict(list)
    for work in forecast.garden.works_by_tree.get(tree.id, []):
        if first <= work.latest <= last:
            done[work.latest].append(work.operation.replace("-", " "))
    for day, operations in done.items():
        x = day.toordinal() + 0.5
        ax.plot(x, -0.7, marker="v", color=INK, ms=6)
        ax.text(x + 1.5, -0.7, ", ".join(operations), fontsize=8, va="center", color=INK)


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
