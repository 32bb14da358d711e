"""What stands on the page about trees: the agenda put into words, and one picture of them all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

from phenology.advice.agenda import Agenda, AgendaRow, Section
from phenology.advice.alike import Alike, alike
from phenology.advice.visits import Visit
from phenology.garden import Garden
from phenology.seasons.season_heat import HeatCourse
from reports.charts.agenda_rows import Line, agenda_lines, axis_of, tree_line
from reports.charts.row_drawing import FORMS, Axis, kinds_of, svg_row, svg_sample
from reports.page.drawings import Label, drawn
from reports.views.change_text import as_counted
from reports.views.forecast_text import MOST_GROUPS, advice_words, in_brief, notes_of
from reports.views.words import (
    MONTHS,
    capital,
    date_range,
    few_names,
    listed,
    short_date,
    tree_names,
    weekday_date,
    weekday_long_date,
)

if TYPE_CHECKING:
    from markupsafe import Markup

ONE_EACH = 8  # more trees of today than these share blocks where they are alike (ours)
FEW = 3  # trees apart from their herd that are named
SMALL = ("seen", "work")  # left out of the rows behind a herd
MONTH_SHARE = 0.15  # of a phone's picture that the name of a month takes
TOPICS = {
    "shade": "shade and shelter", "water": "watering", "feed": "feeding", "again": "pests",
    "buds": "new buds", "late frost": "cover on frosty nights", "bloom": "faded flowers",
}  # fmt: skip
"""Of care, where its own name does not say it; what is to be done is told in full beside it."""


@dataclass(frozen=True)
class Block:
    """Trees to look at today, often only one: what to look for, until when, whether to work."""

    names: str
    does: tuple[str, ...]
    until: str
    works: bool


def headline(agenda: Agenda) -> str:
    """The answer: how many trees to look at today."""
    day, n = weekday_long_date(agenda.garden.as_of), len(agenda.of(Section.TODAY))
    return f"{day}: {f'look at {n}' if n else 'no tree needs a look'}"


def subline(agenda: Agenda, name: str, course: HeatCourse) -> str:
    """Place, season ahead or behind, how fresh the weather is."""
    garden = agenda.garden
    lead = course.words if course.lead is not None else f"season {garden.calendar.label(garden.season)}"
    return " \N{MIDDLE DOT} ".join(
        (name, "season as usual" if lead == "as usual" else lead, _weather(garden))
    )


def _weather(garden: Garden) -> str:
    through, ahead = garden.weather_through(), garden.forecast_through()
    if through is None:
        return "no weather yet"
    old = (garden.as_of - through).days
    when = "today" if old <= 0 else "yesterday" if old == 1 else f"{short_date(through)}, {old} days ago"
    return f"weather to {when}{f', a forecast to {short_date(ahead)}' if ahead else ''}"


def blocks(agenda: Agenda) -> list[Block]:
    """What to look at today, by stop date; a tree each, or alike trees together where there are many."""
    rows = agenda.of(Section.TODAY)
    groups = [Alike((row,)) for row in rows] if len(rows) <= ONE_EACH else alike(rows, coarse=True)
    return [_block(group) for group in sorted(groups, key=lambda group: _until(group) or date.max)]


def _until(group: Alike) -> date | None:
    return min((visit.by for row in group.rows for visit in row.presses if visit.by), default=None)


def _block(group: Alike) -> Block:
    row, until = group.first, _until(group)
    guess = any(visit.step is not None and visit.step.guess for visit in row.presses)
    return Block(
        few_names(group.labels),
        tuple(dict.fromkeys(_does(visit) for visit in row.presses)),
        f"until {'about ' if guess else ''}{short_date(until)}" if until else "",
        any(visit.operation for visit in row.presses),
    )


def _does(visit: Visit) -> str:
    if visit.step is None or visit.step.advice is None or visit.operation is None:
        return visit.look_for
    return f"if {'still ' if visit.step.arrival is None else ''}firm, {visit.step.advice.does}"


def week(agenda: Agenda) -> list[tuple[str, str]]:
    """The coming seven days, each with the trees whose look comes then.

    A tree whose growth has no date is looked at weekly from tomorrow, however far its next forecast look is.
    """
    found: dict[date, list[str]] = {agenda.garden.as_of + timedelta(days=n): [] for n in range(1, 8)}
    for row in agenda.of(Section.WEEK):
        days = [step.look_on for step in row.told if step.decides and step.look_on <= max(found)]
        found[max(min(days, default=min(found)), min(found))].append(row.tree.label)
    return [(weekday_date(day), few_names(labels) if labels else "") for day, labels in found.items()]


def care_topics(agenda: Agenda) -> str:
    """What else is due today, in one line: of which care, on which trees, until when."""
    looked_for = {(row.tree.id, visit.look_for) for row in agenda.rows for visit in row.presses}
    found: dict[str, list[tuple[str, date]]] = {}
    for one in agenda.care:
        if one.due and (one.tree.id, one.what) not in looked_for:
            found.setdefault(TOPICS.get(one.care, one.care), []).append((one.tree.label, one.last))
    parts = []
    for topic, mine in found.items():
        labels, ends = sorted({label for label, _ in mine}, key=as_counted), [end for _, end in mine]
        until = f" (to {date_range(min(ends), max(ends))})" if min(ends) >= agenda.garden.as_of else ""
        parts.append(f"{topic}: {few_names(labels)}{until}")
    return " \N{MIDDLE DOT} ".join(parts)


def in_full(agenda: Agenda) -> list[tuple[str, list[tuple[str, str]]]]:
    """Every tree in sentences, by section; very many are told together and in brief, as the forecast does."""
    coarse = len(alike(agenda.rows)) > MOST_GROUPS
    told = []
    for section in Section:
        full = not coarse and section in (Section.TODAY, Section.WEEK)
        groups = alike(agenda.of(section), coarse=coarse)
        words = [
            (tree_names(g.labels), " ".join(map(capital, advice_words(g))) if full else in_brief(g))
            for g in groups
        ]
        told += [(capital(section), words)] if words else []
    return told


def row_words(rows: Sequence[AgendaRow]) -> str:
    """What a row of the picture shows, for who cannot see it."""
    groups = alike(rows, coarse=True)
    return " ".join(f"{few_names(g.labels)}: {in_brief(g)}" for g in groups)


def warnings_of(agenda: Agenda) -> Iterator[tuple[str, str]]:
    """Warnings of the whole forecast and of trees, each said once: (whom it concerns or nobody, sentence)."""
    yield from (("", _sentence(note)) for note in agenda.forecast.warnings)
    yield from ((few_names(labels), _sentence(warning)) for warning, labels in notes_of(agenda).items())


def cautions_of(garden: Garden) -> list[tuple[str, tuple[str, ...]]]:
    """What to mind with each species kept, species that need nothing left out."""
    kept = {tree.species: garden.species_of(tree) for tree in garden.standing_trees}
    return [
        (capital(species.name), tuple(_sentence(c) for c in species.cautions))
        for species in kept.values()
        if species.cautions
    ]


def _sentence(text: str) -> str:
    return f"{capital(text).rstrip('.')}."


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
