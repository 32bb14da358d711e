"""This season's warmth among past ones, how it may go on, and above it how far ahead of usual it has been."""

from __future__ import annotations

from datetime import date, timedelta
from typing import TYPE_CHECKING

import numpy as np

from phenology.garden import Garden
from phenology.language.degrees import degrees
from phenology.model.season import SeasonCalendar
from phenology.seasons.ahead import HeatCourse, ahead_by_date, heat_course
from phenology.seasons.season_heat import BASE_C
from reports.charts.ink import INK, LATE, PALE, RANGE, RULE, SOFT, WASH, bare, new_axes
from reports.table import in_units
from reports.text.words import MONTHS, capital

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NAMED = 3  # past seasons, the latest, whose days ahead are drawn
STROKES = ((0, (5, 2)), (0, (1.5, 1.5)), "-")  # theirs, oldest first
REACH = 25.0  # days; longer leads are cut off, they would flatten the rest (ours)


def plot_seasons(garden: Garden, ax: Axes | None = None, *, units: str = "C") -> Axes:
    """Draw the warmth gathered this season over past ones, a fan of what may come, and days ahead above."""
    ax = new_axes(ax, 8, 5.4)
    bare(ax)
    course, scale = heat_course(garden), in_units(1.0, "degree_days", units)
    start = garden.calendar.start(course.season)
    today = len(course.heat) - 1
    shown = dict(list(course.past.items())[-NAMED:])
    if course.past:
        days = np.arange(min(len(heat) for heat in course.past.values()))
        years = scale * np.array([heat[: len(days)] for heat in course.past.values()])
        low, middle, high = np.quantile(years, (0.1, 0.5, 0.9), axis=0)
        ax.fill_between(days, low, high, color=LATE, lw=0, zorder=1)
        ax.plot(days, middle, color=SOFT, lw=1, ls=(0, (4, 3)), zorder=2)
        ahead = days >= today
        fan = scale * course.heat[-1] + years[:, ahead] - years[:, [min(today, len(days) - 1)]]
        for inner, outer, ink in ((0.1, 0.9, RANGE), (0.25, 0.75, WASH)):
            ax.fill_between(days[ahead], *np.quantile(fan, (inner, outer), axis=0), color=ink, lw=0, zorder=3)
    ax.axvline(today, color=INK, lw=1, zorder=0)
    ax.plot(scale * course.heat, color=INK, lw=2.4, zorder=3)
    ax.text(today - 4, scale * course.heat[-1], garden.calendar.label(course.season),
            ha="right", va="bottom", color=INK, fontweight="bold")  # fmt: skip
    if course.past:
        past = f"{len(course.past)} past {'season' if len(course.past) == 1 else 'seasons'}"
        words = f"pale: four in five of {past}, dashed their middle; from today on as they went on"
        ax.set_xlabel(f"{words}:\nfour in five, and one in two", fontsize=9, color=INK, loc="left")
    turns = [(_month_after(start, k) - start).days for k in range(12)]
    middles = [(a + b) / 2 for a, b in zip(turns, [*turns[1:], 365], strict=True)]
    ax.set_xticks(middles, [MONTHS[(start + timedelta(days=m)).month - 1] for m in middles])
    ax.set_xlim(0, 380)
    ax.set_ylim(bottom=0)
    ax.set_ylabel(f"degree-days above {degrees(BASE_C, units, sign=' °')}", color=INK)
    _strip(ax, course, shown, garden.calendar)
    return ax


def _strip(ax: Axes, course: HeatCourse, recent: dict[int, np.ndarray], calendar: SeasonCalendar) -> None:
    """Above the curves: days ahead of usual (up) or behind (down), filled for this season."""
    strip = ax.inset_axes((0, 1.04, 1, 0.3), sharex=ax)
    bare(strip)
    strip.spines["bottom"].set_visible(False)
    strip.tick_params(labelbottom=False)
    strip.axhline(0, color=RULE, lw=0.8)
    leads = [
        ahead_by_date(calendar, season, heat, {s: h for s, h in course.past.items() if s != season})
        for season, heat in recent.items()
    ]
    for lead, stroke in zip(leads, STROKES[len(STROKES) - len(leads) :], strict=True):
        strip.plot(lead, color=WASH, lw=1.2, ls=stroke, zorder=2)
    for season, lead in zip(recent, leads, strict=True):
        known = np.flatnonzero(np.abs(lead) <= REACH)  # which is false where it is not known
        if len(known):
            at = int(known[-1])
            strip.text(at + 3, lead[at], calendar.label(season), fontsize=8, color=WASH, va="center")
    now = course.ahead
    strip.fill_between(np.arange(len(now)), 0, now, color=PALE, lw=0, zorder=1)
    strip.plot(now, color=INK, lw=2, zorder=3)
    drawn = [np.abs(lead[np.isfinite(lead)]) for lead in (*leads, course.ahead)]
    reach = min(REACH, max([5.0, *(float(one.max()) for one in drawn if len(one))]))
    strip.set_ylim(-1.1 * reach, 1.1 * reach)
    ticks = [t for t in (-20, -10, 0, 10, 20) if abs(t) <= reach]
    strip.set_yticks(ticks, [f"{t:+d}" if t else "usual" for t in ticks], fontsize=8)
    strip.set_ylabel("days\nahead", rotation=0, ha="right", va="center", fontsize=8, color=INK)
    strip.text(0.005, 0.98, capital(course.words), transform=strip.transAxes, va="top", fontsize=9, color=INK)


def _month_after(start: date, months: int) -> date:
    return date(start.year + (start.month - 1 + months) // 12, (start.month - 1 + months) % 12 + 1, start.day)


def describe_seasons(garden: Garden) -> str:
    """What the picture shows, in words."""
    course = heat_course(garden)
    label = garden.calendar.label(course.season)
    words = f"Warmth gathered in {label} over {len(course.past)} past seasons: {course.words}"
    return f"{words}; from today on as past seasons went on." if course.past else f"{words}."
