"""The main picture: the garden week by week, likelihood shaded, looks as bars between two dates."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from phenology.advice.agenda import make_agenda
from phenology.advice.alike import weeks_ahead
from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.learning.flush_history import histories_of
from phenology.seasons.ahead import HeatCourse, heat_course
from reports.charts.ink import (
    DOTS,
    INK,
    PALE,
    RULE,
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
from reports.text.words import date_range, date_style, listed, short_date, weekday_date

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WEEKS_BACK = 10
QUIET_WEEKS_BACK = 2  # before anything was seen of this season's growth
RIBBON = 0.82  # inches, however many trees stand below it
NAMED = 12  # more alike trees than these are counted, not named, in words
LETTER = {"budbreak": "b", "extended": "e", "hardened": "h"}
CUTS = ("cutback", "partial-defoliation", "full-defoliation")


def plot_garden(forecast: GardenForecast, ax: Axes | None = None) -> Axes:
    """Draw every tree's coming stage by week, with what was seen and done.

    Parameters
    ----------
    forecast : GardenForecast
    ax : matplotlib Axes, optional
        Where to draw; a new figure otherwise.

    Returns
    -------
    matplotlib Axes
    """
    steps, garden = make_agenda(forecast).coming, forecast.garden
    height = 1.9 + 0.36 * max(len(steps), 3)
    ax = new_axes(ax, 10, height)
    quiet = all(step.stage == "budbreak" and not any(step.seen) for step in steps)
    week = date_style().week_start(garden.as_of)
    first = week - timedelta(weeks=QUIET_WEEKS_BACK if quiet else WEEKS_BACK)
    last = week + timedelta(weeks=weeks_ahead(steps))
    date_axis(ax, first, last)
    for y, step in enumerate(steps):
        _shade(ax, y, step, first, last)
        _seen_and_done(ax, y, step, first)
        if step.last_safe is not None and first <= step.last_safe <= last:
            mark_stop(ax, y, step.last_safe)
    mark_today(ax, garden.as_of)
    ax.set_yticks(range(len(steps)), [step.tree.label for step in steps])
    ax.set_ylim(max(len(steps), 1) - 0.4, -0.6)
    bare(ax)
    start = garden.calendar.start(garden.season)
    _ribbon(ax, heat_course(garden), start, first, min(0.13, RIBBON / height))
    legend_line(
        ax, "shaded: likely week", DOTS if any(step.undated for step in steps) else "",
        "open bar: between two looks (b bud break, e extended, h hard)", "▾ cut", "┣ stop by",
        "dotted: today",
    )  # fmt: skip
    return ax


def describe_garden(forecast: GardenForecast) -> str:
    """What the picture shows, for somebody who cannot see it."""
    alike: dict[str, list[str]] = {}
    for step in make_agenda(forecast).coming:
        alike.setdefault(_in_words(step), []).append(step.tree.label)
    parts = [
        f"{listed(labels) if len(labels) <= NAMED else f'{labels[0]} and {len(labels) - 1} more'}: {words}."
        for words, labels in alike.items()
    ]
    when = weekday_date(forecast.garden.as_of)
    parts = [*(parts or ["Nothing to look at soon."]), *filter(None, [forecast.usual_warmth])]
    return f"The garden by week, as of {when}. {' '.join(parts)}"


def _in_words(step: ForecastRow) -> str:
    stop = f", stop by {short_date(step.last_safe)}" if step.last_safe else ""
    if step.arrival is None:
        return f"hard already{stop}"
    state = STATE[step.stage]
    return f"{range_words(step, state) or f'perhaps not {state} this season'}{stop}"


def range_words(step: ForecastRow, state: str) -> str:
    """When a stage is likely, or from when to look for it; empty where it may not come this season."""
    low, high = step.date_at(0.1), step.date_at(0.9)
    if step.undated:
        return f"look weekly from {short_date(step.weekly[0])}, no date yet"
    if not (low and high):
        return ""
    sure, guess = ("perhaps", ", a guess") if step.guess else ("probably", "")
    return f"{sure} {state} {date_range(low, high)}{guess}"


def week_chances(step: ForecastRow, first: date, last: date) -> list[float]:
    """The chance that a step's stage comes in each week from `first` to `last`."""
    if step.arrival is None:
        return []
    begins = (first - step.garden.calendar.start(step.season)).days
    edges = [float(begins + 7 * k) for k in range((last - first).days // 7 + 1)]
    come = [step.arrival.chance_by(t) if t > 0 else 0.0 for t in edges]
    return [later - sooner for sooner, later in pairwise(come)]


def _shade(ax: Axes, y: int, step: ForecastRow, first: date, last: date) -> None:
    ax.plot([first.toordinal(), last.toordinal()], [y, y], color=PALE, lw=0.6, zorder=0)
    if step.undated:
        start, end = step.weekly
        mark_looks(ax, y, start, min(end, last))
        return
    for k, chance in enumerate(week_chances(step, first, last)):
        if chance >= 0.01:
            left = first.toordinal() + 7 * k
            ax.fill_between(
                [left + 0.3, left + 6.7], y - 0.32, y + 0.32, color=WASH, lw=0,
                alpha=min(0.95, 0.08 + 0.9 * chance), zorder=2,
            )  # fmt: skip
    if step.arrival is None and step.seen[1] is not None:
        ax.text(step.seen[1].toordinal() + 2, y, "hard", va="center", color=INK, fontsize=8)


def _seen_and_done(ax: Axes, y: int, step: ForecastRow, first: date) -> None:
    garden, tree, left_edge = step.garden, step.tree, first.toordinal()
    start = garden.calendar.start(step.season).toordinal()
    taken: list[float] = []
    for h in histories_of(garden, tree):
        stages = LETTER if h.flush.season == step.season else {}
        for stage, letter in stages.items():
            if (seen := h.bracket(stage)) is None or not np.isfinite(seen[1]):
                continue
            left, right = (start + t for t in seen)
            if right < left_edge:
                continue
            mark_seen(ax, y, left, right)
            middle = (max(left, left_edge) + right) / 2
            below = any(abs(middle - x) < 4 for x in taken)
            taken.append(middle)
            ax.text(middle, y + (0.42 if below else -0.3), letter, ha="center", va="center",
                    fontsize=7, color=INK, zorder=5)  # fmt: skip
    for work in garden.works_by_tree.get(tree.id, []):
        if work.latest >= first and work.operation in CUTS:
            ax.plot(work.latest.toordinal() + 0.5, y, marker="v", color=INK, ms=6, zorder=5)


def _ribbon(ax: Axes, course: HeatCourse, start: date, first: date, share: float) -> None:
    """Above the weeks: days ahead of (up) or behind (down) the usual season."""
    strip = ax.inset_axes((0, 1.0, 1, share), sharex=ax)
    bare(strip)
    strip.spines["bottom"].set_visible(False)
    strip.tick_params(labelbottom=False)
    days = np.array([start.toordinal() + n for n in range(len(course.ahead))])
    shown = np.isfinite(course.ahead) & (days >= first.toordinal())
    strip.axhline(0, color=RULE, lw=0.8)
    strip.set_yticks([])
    if shown.any():
        ahead, day = course.ahead[shown], days[shown]
        high, low = float(ahead.max()), float(ahead.min())
        strip.set_ylim(min(-2.0, 1.25 * low), max(2.0, 1.25 * high))
        extreme = int(np.abs(ahead).argmax())
        most = f"{ahead[extreme]:+.0f} days"
        strip.text(day[extreme] + 1, 0.35 * ahead[extreme], most, fontsize=8, color=INK)
        strip.fill_between(day, 0, ahead, color=PALE, lw=0)
        strip.plot(day, ahead, color=INK, lw=1)
        words = course.words if course.lead is not None else ""
        strip.text(day[-1] + 3, ahead[-1], words, va="center", fontsize=9, color=INK)
    else:
        strip.text(first.toordinal() + 2, 0.6, course.words, fontsize=8, color=INK)
    strip.set_ylabel("ahead\nof usual", rotation=0, ha="right", va="center", fontsize=8, color=INK)
