"""The main picture: every tree of the agenda on one axis of days, as the page draws it."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from phenology.advice.agenda import Agenda, make_agenda
from phenology.advice.alike import alike
from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from reports.charts.agenda_rows import agenda_lines, axis_of
from reports.charts.ink import INK, bare, date_axis, new_axes
from reports.charts.row_drawing import draw_row, explain
from reports.text.forecast_text import MOST_GROUPS, in_brief
from reports.text.words import date_range, few_names, short_date, weekday_date

if TYPE_CHECKING:
    from matplotlib.axes import Axes


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
    parts = [*(_in_words(agenda) or ["Nothing to look at soon."]), *filter(None, [forecast.usual_warmth])]
    return f"The garden, as of {when}. {' '.join(parts)}"


def _in_words(agenda: Agenda) -> list[str]:
    coarse = len(alike(agenda.rows)) > MOST_GROUPS
    return [f"{few_names(g.labels)}: {in_brief(g)}" for g in alike(agenda.rows, coarse=coarse)]


def range_words(step: ForecastRow, state: str) -> str:
    """When a stage is likely, or from when to look for it; empty where it may not come this season."""
    low, high = step.date_at(0.1), step.date_at(0.9)
    if step.undated:
        return f"look weekly from {short_date(step.weekly[0])}, no date yet"
    if not (low and high):
        return ""
    sure, guess = ("perhaps", ", a guess") if step.guess else ("probably", "")
    return f"{sure} {state} {date_range(low, high)}{guess}"
