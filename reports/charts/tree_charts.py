"""The main picture, one tree's season, and what waiting costs."""

from __future__ import annotations

import math
from collections import defaultdict
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from phenology.advice.adviser import late_seasons, stop_of
from phenology.advice.agenda import make_agenda
from phenology.advice.alike import alike
from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.garden import Garden
from phenology.learning.flush_history import histories_of
from phenology.learning.transitions import TARGETS
from phenology.model.operations import Operation
from phenology.model.records import Tree
from phenology.work.case import Case
from phenology.work.grades import odds_in_tenths
from phenology.work.last_safe import Late
from reports.charts.agenda_rows import agenda_lines, axis_of, step_marks
from reports.charts.ink import INK, LATE, PALE, PAPER, SOFT, bare, date_axis, mark_seen, new_axes
from reports.charts.row_drawing import Axis, Mark, draw_row, explain
from reports.views.forecast_text import MOST_GROUPS, STATE, in_brief
from reports.views.words import date_range, few_names, short_date, weekday_date

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMES = {"budbreak": "bud break", "extended": "extended", "hardened": "hard"}
LANE = 0.13  # from a row's middle to its lower and upper lane
Key = tuple[int, str]
"""Flush and stage: a line of the picture."""
WAITS = (0, 14, 28)  # days from today whose odds are written beside the curve


def plot_garden(forecast: GardenForecast, ax: Axes | None = None) -> Axes:
    """Draw what comes of every tree, when to look and when to stop, with what was seen and done."""
    agenda = make_agenda(forecast)
    lines = agenda_lines(agenda)
    axis = axis_of(agenda, lines)
    ax = new_axes(ax, 10, 1.4 + 0.34 * max(len(lines), 3))
    date_axis(ax, axis.first, date.fromordinal(axis.first.toordinal() + axis.days - 1), axis.weeks)
    for y, line in enumerate(lines):
        draw_row(ax, y, line.marks, axis)
        ax.text(
            1.01, y, line.end, transform=ax.get_yaxis_transform(), va="center_baseline", fontsize=9, color=INK
        )
    ax.set_yticks(range(len(lines)), [line.name for line in lines])
    for label, line in zip(ax.get_yticklabels(), lines, strict=True):
        label.set_fontweight("bold" if line.today else "normal")
    ax.set_ylim(max(len(lines), 1) - 0.5, -0.5)
    bare(ax)
    explain(ax, [line.marks for line in lines], axis)
    return ax


def describe_garden(forecast: GardenForecast) -> str:
    """What the picture shows, for somebody who cannot see it: the agenda's own words."""
    agenda = make_agenda(forecast)
    when = weekday_date(forecast.garden.as_of)
    coarse = len(alike(agenda.rows)) > MOST_GROUPS
    trees = [f"{few_names(g.labels)}: {in_brief(g)}" for g in alike(agenda.rows, coarse=coarse)]
    parts = [*(trees or ["Nothing to look at soon."]), *filter(None, [forecast.usual_warmth])]
    return f"The garden, as of {when}. {' '.join(parts)}"


def range_words(step: ForecastRow, state: str) -> str:
    """When a stage is likely, or from when to look for it; empty where it may not come this season."""
    low, high = step.date_at(0.1), step.date_at(0.9)
    if step.undated:
        return f"look weekly from {short_date(step.weekly[0])}, no date yet"
    if not (low and high):
        return ""
    sure, guess = ("perhaps", ", a guess") if step.guess else ("probably", "")
    return f"{sure} {state} {date_range(low, high)}{guess}"


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


def plot_ripening(garden: Garden, tree: Tree, ax: Axes | None = None) -> Axes:
    """Draw the odds that what a cut wakes is hard in time, against the day of the cut.

    Raises `WeatherError` where the tree stands without weather.
    """
    late, stop, _ = _late(garden, tree)
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
    late, stop, why = _late(garden, tree)
    now, fortnight, three_weeks = map(odds_in_tenths, late.odds())
    until = f" Stop by {short_date(stop)}: {why}." if stop else ""
    return (
        f"{tree.label}: that new growth ripens is {now} if it is cut today, {fortnight} in two weeks, "
        f"{three_weeks} in three.{until}"
    )


def _late(garden: Garden, tree: Tree) -> tuple[Late, date | None, str]:
    """The late season of a tree, until when it is cut and why; a tree shaped by its bloom has no such day."""
    late = late_seasons(garden).late(tree.species, garden.site(tree, garden.season))
    case = Case(garden, tree, Operation.CUTBACK, garden.as_of, late=late)
    last, _, why = stop_of(case, late, -math.inf)
    return late, None if case.species.bloom_led else last, why
