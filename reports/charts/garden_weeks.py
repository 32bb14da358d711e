"""The main picture: the garden week by week, likelihood shaded, looks as bars between two dates."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.learning.flush_history import histories
from phenology.seasons.ahead import HeatCourse, heat_course
from reports.charts.ink import INK, PALE, RULE, WASH, bare, date_axis, new_axes
from reports.text.deciding import STATE, coming_rows, last_safe_of, row_date, weeks_ahead
from reports.text.words import date_range, date_style, listed, short_date, weekday_date

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WEEKS_BACK = 10
QUIET_WEEKS_BACK = 2  # before anything was seen of this season's growth
RIBBON = 0.82  # inches, however many trees stand below it
NAMED = 12  # more alike trees than these are counted, not named, in words
LETTER = {"budbreak": "b", "extended": "e", "hardened": "h"}


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
    rows = coming_rows(forecast)
    garden = forecast.garden
    ax = new_axes(ax, 10, 1.9 + 0.36 * max(len(rows), 3))
    quiet = not any(day for row in rows for day in row.seen) and all(row.stage == "budbreak" for row in rows)
    first = date_style().week_start(garden.as_of) - timedelta(weeks=QUIET_WEEKS_BACK if quiet else WEEKS_BACK)
    last = date_style().week_start(garden.as_of) + timedelta(weeks=weeks_ahead(forecast))
    date_axis(ax, first, last)
    for y, row in enumerate(rows):
        _shade(ax, y, row, forecast, first, last)
        _seen_and_done(ax, y, row, forecast, first)
        stop = last_safe_of(row)
        if stop is not None and first <= stop <= last:
            x = stop.toordinal() + 1
            ax.plot([x, x], [y - 0.42, y + 0.42], color=INK, lw=2.2, zorder=4)
            ax.plot([x, x + 2.2], [y, y], color=INK, lw=2.2, zorder=4)
    ax.axvline(garden.as_of.toordinal() + 0.5, color=INK, lw=1, ls=(0, (1, 2)), zorder=3)
    ax.set_yticks(range(len(rows)), [r.tree.label for r in rows])
    ax.set_ylim(max(len(rows), 1) - 0.4, -0.6)
    bare(ax)
    share = min(0.13, RIBBON / (1.9 + 0.36 * max(len(rows), 3)))
    _ribbon(ax, heat_course(garden), garden.calendar.start(garden.season), first, share)
    dots = "dots: look once a week, no date yet   " if any(map(undated, rows)) else ""
    ax.set_xlabel(
        f"shaded: likely week   {dots}open bar: between two looks (b bud break, e extended, h hard)   "
        "▾ cut   ┣ stop by   dotted: today",
        fontsize=8, color=INK, loc="left",
    )  # fmt: skip
    return ax


def describe_garden(forecast: GardenForecast) -> str:
    """What the picture shows, for somebody who cannot see it."""
    alike: dict[str, list[str]] = {}
    for row in coming_rows(forecast):
        alike.setdefault(_in_words(row, forecast), []).append(row.tree.label)
    parts = [
        f"{listed(labels) if len(labels) <= NAMED else f'{labels[0]} and {len(labels) - 1} more'}: {told}"
        for told, labels in alike.items()
    ]
    when = weekday_date(forecast.garden.as_of)
    return f"The garden by week, as of {when}. " + (" ".join(parts) or "Nothing to look at soon.")


def _in_words(row: ForecastRow, forecast: GardenForecast) -> str:
    low, high = (row_date(row, level, forecast) for level in (0.1, 0.9))
    if row.arrival is None:
        told = "hard already"
    elif undated(row):
        told = f"look weekly from {short_date(look_days(row, forecast)[0])}, no date yet"
    elif low is not None and high is not None:
        told = f"probably {STATE[row.stage]} {date_range(low, high)}"
    else:
        told = f"perhaps not {STATE[row.stage]} this season"
    stop = last_safe_of(row)
    return f"{told}{f', stop by {short_date(stop)}' if stop else ''}."


def undated(row: ForecastRow) -> bool:
    """Whether the forecast names no dates for it, only a rhythm of looks: a species guess."""
    return row.arrival is not None and not (row.dated and row.trust.seasons > 0)


def look_days(row: ForecastRow, forecast: GardenForecast) -> list[date]:
    """Once a week from today, or from when it might begin to have come."""
    low, high = (row_date(row, level, forecast) for level in (0.1, 0.9))
    first = max(forecast.garden.as_of, low or row.look_on)
    last = max(first, high or first + timedelta(weeks=8))
    return [first + timedelta(days=n) for n in range(0, (last - first).days + 1, 7)]


def week_chances(row: ForecastRow, forecast: GardenForecast, first: date, last: date) -> list[float]:
    """The chance that a row's stage comes in each week from `first` to `last`."""
    if row.arrival is None:
        return []
    start = forecast.garden.calendar.start(row.season)
    edges = [float((first - start).days + 7 * k) for k in range((last - first).days // 7 + 1)]
    come = [row.arrival.chance_by(t) if t > 0 else 0.0 for t in edges]
    return [later - sooner for sooner, later in pairwise(come)]


def _shade(ax: Axes, y: int, row: ForecastRow, forecast: GardenForecast, first: date, last: date) -> None:
    ax.plot([first.toordinal(), last.toordinal()], [y, y], color=PALE, lw=0.6, zorder=0)
    if undated(row):
        days = [day.toordinal() + 0.5 for day in look_days(row, forecast) if day <= last]
        ax.plot(days, [y] * len(days), ls="", marker="o", ms=3.5, color=INK, zorder=3)
        return
    for k, chance in enumerate(week_chances(row, forecast, first, last)):
        if chance >= 0.01:
            left = first.toordinal() + 7 * k
            ax.fill_between(
                [left + 0.3, left + 6.7], y - 0.32, y + 0.32, color=WASH, lw=0,
                alpha=min(0.95, 0.08 + 0.9 * chance), zorder=2,
            )  # fmt: skip
    if row.arrival is None and row.seen[1] is not None:
        ax.text(row.seen[1].toordinal() + 2, y, "hard", va="center", color=INK, fontsize=8)


def _seen_and_done(ax: Axes, y: int, row: ForecastRow, forecast: GardenForecast, first: date) -> None:
    garden = forecast.garden
    start = garden.calendar.start(row.season).toordinal() - 1
    taken: list[float] = []
    for h in histories(garden):
        if h.tree.id != row.tree.id or h.flush.season != row.season:
            continue
        for stage, (after, by) in h.came.items():
            if stage not in LETTER or not np.isfinite([after, by]).all():
                continue
            left, right = start + after + 1, start + by + 1
            if right < first.toordinal():
                continue
            ax.fill_between(
                [left, right], y - 0.14, y + 0.14, facecolor="white", edgecolor=INK, lw=0.9, zorder=3
            )
            middle = (max(left, first.toordinal()) + right) / 2
            low = any(abs(middle - x) < 4 for x in taken)
            taken.append(middle)
            ax.text(middle, y + (0.42 if low else -0.3), LETTER[stage], ha="center", va="center",
                    fontsize=7, color=INK, zorder=5)  # fmt: skip
    for work in garden.works_by_tree.get(row.tree.id, []):
        if work.latest >= first and work.operation in ("cutback", "partial-defoliation", "full-defoliation"):
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
        strip.text(
            day[extreme] + 1, 0.35 * ahead[extreme], f"{ahead[extreme]:+.0f} days", fontsize=8, color=INK
        )
        strip.fill_between(day, 0, ahead, color=PALE, lw=0)
        strip.plot(day, ahead, color=INK, lw=1)
        strip.text(
            day[-1] + 3,
            ahead[-1],
            course.words if course.lead is not None else "",
            va="center",
            fontsize=9,
            color=INK,
        )
    else:
        strip.text(first.toordinal() + 2, 0.6, course.words, fontsize=8, color=INK)
    strip.set_ylabel("ahead\nof usual", rotation=0, ha="right", va="center", fontsize=8, color=INK)
