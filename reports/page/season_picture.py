"""The one picture of the page: a row a tree, or a herd where there are very many, on one axis of days."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from phenology.advice.agenda import Agenda
from phenology.garden import Garden
from reports.charts.agenda_rows import Line, agenda_lines, axis_of, tree_line
from reports.charts.row_drawing import FORMS, Axis, kinds_of, svg_row, svg_sample
from reports.page.content import row_words
from reports.page.drawings import Label, drawn
from reports.text.words import MONTHS, listed, short_date

if TYPE_CHECKING:
    from markupsafe import Markup

FEW = 3  # trees apart from their herd that are named
SMALL = ("seen", "work")  # left out of the rows behind a herd
MONTH_SHARE = 0.15  # of a phone's picture that the name of a month takes


@dataclass(frozen=True)
class Drawn:
    """A line of the picture with its drawing, its words and, behind a herd, those of its trees."""

    line: Line
    svg: Markup
    words: str = ""
    apart: str = ""
    trees: tuple[Drawn, ...] = ()


def season_picture(agenda: Agenda, *, behind: bool = True) -> dict[str, Any] | None:
    """The picture as its template wants it, the trees `behind` each herd or not; None without trees."""
    lines = agenda_lines(agenda)
    if not lines:
        return None
    axis = axis_of(agenda, lines)
    first, days = axis.window
    return {
        "lines": [_line(line, axis, agenda.garden, behind) for line in lines],
        "zoom": f"{axis.days / days:.4g}",
        "shift": f"{(first - axis.first).days / days:.4g}",
        "weeks": [Label(axis.at(day.toordinal()), str(day.day)) for day in axis.weeks],
        "months": _months(axis),
        "week": f"{100 * 7 / axis.days:.4g}",
        "legend": [
            (drawn(svg_sample(kind)), FORMS[kind].words) for kind in kinds_of([x.marks for x in lines], axis)
        ],
    }


def _line(line: Line, axis: Axis, garden: Garden, behind: bool) -> Drawn:
    svg, several = drawn(svg_row(line.marks, axis)), len(line.rows) > 1
    if not several:
        return Drawn(line, svg, row_words(line.rows))
    told = [f"{label} about {short_date(day)}" for label, day in line.outliers]
    few = told if len(told) <= FEW else [*told[:FEW], f"{len(told) - FEW} more"]
    words = f"{len(line.rows)} trees{f', {line.today} to look at today' if line.today else ''}; {line.end}."
    lines = (tree_line(row, garden) for row in line.rows if behind)
    trees = tuple(
        Drawn(one, drawn(svg_row([m for m in one.marks if m.kind not in SMALL], axis))) for one in lines
    )
    return Drawn(line, svg, words, f"Apart from the rest: {listed(few)}." if few else "", trees)


def _months(axis: Axis) -> list[tuple[str, Label]]:
    """Names of months at their first days, where they have room up to the edges of either picture."""
    (start, days), out = axis.window, []
    narrow, edge = days * MONTH_SHARE, axis.first + timedelta(days=axis.days)
    for day in axis.months:
        if (edge - day).days >= axis.days * MONTH_SHARE / 3:
            inside = start <= day <= start + timedelta(days=days - narrow)
            out.append(("" if inside else "full", _month(axis, day)))
    for kind, first, room in (("full", axis.first, axis.days * MONTH_SHARE / 2), ("window", start, narrow)):
        turn = next((day for day in axis.months if day >= first), None)
        if turn is not None and (turn - first).days >= room:
            out.append((kind, _month(axis, first)))
    return out


def _month(axis: Axis, day: date) -> Label:
    return Label(axis.at(day.toordinal()), MONTHS[day.month - 1])
