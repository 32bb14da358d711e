"""The agenda's trees as rows of marks, and the axis they share: page, chart and notebook draw these."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from phenology.advice.adviser import LATENESS
from phenology.advice.agenda import Agenda, AgendaRow, Section
from phenology.advice.forecast_rows import ForecastRow
from phenology.garden import Garden
from phenology.model.operations import Operation
from phenology.weather.frost import FreezeOdds, autumn_frosts
from reports.charts.row_drawing import Axis, Mark
from reports.views.words import capital, date_style, short_date

WEEKS_BACK = 1  # before the week of today
WINDOW_WEEKS = 10  # what a phone shows
MOST_WEEKS = 26  # unless what comes lies further ahead
MARGIN_DAYS = 14
MOST_LINES = 30  # more trees than these are drawn a species and bench a line (ours)
OUTLIER_DAYS = 7.0  # a tree so far from its herd's middle is named (ours)
AHEAD = ("range", "half", "guess", "tick", "look")


# ------------------------------------------------------------------------------------------------ one tree


def row_marks(row: AgendaRow, garden: Garden) -> list[Mark]:
    """The marks of one tree: what was seen and done this season, what comes, when to look, when to stop."""
    season, today = garden.calendar.start(garden.season), garden.as_of
    over = garden.calendar.end(garden.season).toordinal() + 1.0
    looks = garden.looks_by_tree.get(row.tree.id, [])
    works = garden.works_by_tree.get(row.tree.id, [])
    found = [
        Mark.at("seen", day)
        for day in {_middle(one.earliest, one.latest) for one in looks if one.latest >= season}
    ]
    found += [
        Mark.at("work", day)
        for day in {_middle(one.earliest, one.latest) for one in works if one.latest >= season}
    ]
    if row.section is Section.TODAY:
        found.append(Mark.at("now", today.toordinal() + 0.5))
    for step in row.told:
        found += step_marks(step)
        if step.decides and not step.undated and step.look_on > today:
            found.append(Mark.at("look", step.look_on.toordinal() + 0.5))
    if (stop := stop_of(row)) is not None:
        found += [Mark("late", stop.toordinal() + 1, over), Mark.at("stop", stop.toordinal() + 1)]
    elif any(step.refused is not None and step.refused.rule in LATENESS for step in row.steps):
        found.append(Mark("late", today.toordinal(), over))
    return found


def step_marks(step: ForecastRow) -> Iterator[Mark]:
    """When a stage comes: bars, a dotted line where that is a guess, rings where only a rhythm is known."""
    if step.undated:
        first, last = step.weekly
        yield from (Mark.at("look", day + 0.5) for day in range(first.toordinal(), last.toordinal() + 1, 7))
        return
    low = _ordinal(step, 0.1)
    if step.arrival is None or math.isinf(low):
        return
    yield Mark("guess" if step.guess else "range", low, _ordinal(step, 0.9))
    if not step.guess and math.isfinite(half := _ordinal(step, 0.25)):
        yield Mark("half", half, _ordinal(step, 0.75))


def stop_of(row: AgendaRow) -> date | None:
    """Until when a tree may be cut, told or not: trees that may not be cut after all show it too."""
    days = [
        visit.by for visit in row.presses if visit.by and visit.operation and Operation(visit.operation).wakes
    ]
    for step in row.steps:
        by_bloom = step.refused is not None and step.refused.rule not in LATENESS
        if step.advice is not None and step.advice.last_safe is not None and not by_bloom:
            days.append(step.advice.last_safe)
    return min(days, default=None)


def row_end(row: AgendaRow) -> str:
    """What stands at the end of a row: until when, or why not; three words at most."""
    press = next(
        (visit for visit in row.presses if visit.step is None and visit.operation and visit.by), None
    )
    step = next((one for one in row.told if one.stage == "hardened"), row.lead)
    if press is not None and press.by and press.operation:
        return f"{'' if Operation(press.operation).wakes else 'look '}by {short_date(press.by)}"
    if step is None:
        return "weekly" if row.open_end and row.section is not Section.LEAVE else "note only"
    if step.undated:
        return "weekly"
    if step.stage == "budbreak":
        middle = step.date_at(0.5)
        return f"buds {short_date(middle)}" if middle else "buds later"
    if step.refused is not None:
        return "too late" if step.refused.rule in LATENESS else "leave it"
    if step.operation is None or step.advice is None:
        return "note only"
    if not step.advice.wakes:
        return "no cutting"
    if step.last_safe is None:
        return "if firm"
    middle = step.date_at(0.5)
    late = step.arrival is not None and (middle is None or middle > step.last_safe)
    return "likely late" if late else f"by {'~' if step.guess else ''}{short_date(step.last_safe)}"


def _ordinal(step: ForecastRow, level: float) -> float:
    day = step.day(level)
    return math.inf if day is None else step.garden.calendar.start(step.season).toordinal() + day


def _middle(first: date, last: date) -> float:
    return (first.toordinal() + last.toordinal()) / 2 + 0.5


# ------------------------------------------------------------------------------------------------- all trees


@dataclass(frozen=True)
class Line:
    """One line of the picture: a tree, or a herd of one species on one bench with a tick a tree."""

    name: str
    end: str
    rows: tuple[AgendaRow, ...]
    marks: tuple[Mark, ...]

    @property
    def today(self) -> int:
        """How many of its trees are to be looked at today."""
        return sum(row.section is Section.TODAY for row in self.rows)

    @property
    def outliers(self) -> list[tuple[str, date]]:
        """Trees whose middle date lies far from that of the rest, and that date; none where they are many."""
        dates = _middles(self.rows)
        middle = float(np.median(list(dates.values()))) if dates else 0.0
        apart = [(label, day) for label, day in dates.items() if abs(day - middle) > OUTLIER_DAYS]
        few = 5 * len(apart) <= len(dates)
        return [(label, date.fromordinal(int(day))) for label, day in apart] if few else []


def tree_line(row: AgendaRow, garden: Garden) -> Line:
    """The line of one tree."""
    return Line(row.tree.label, row_end(row), (row,), tuple(row_marks(row, garden)))


def agenda_lines(agenda: Agenda) -> list[Line]:
    """A line a tree; where they are very many, a line a species and bench. In the agenda's order."""
    garden = agenda.garden
    if len(agenda.rows) <= MOST_LINES:
        return [tree_line(row, garden) for row in agenda.rows]
    found: dict[tuple[str, str], list[AgendaRow]] = {}
    for row in agenda.rows:
        place = garden.place_of(row.tree, garden.as_of).id
        found.setdefault((garden.species_of(row.tree).name, place), []).append(row)
    return [_herd(name, rows, garden) for (name, _), rows in found.items()]


def _herd(name: str, rows: Sequence[AgendaRow], garden: Garden) -> Line:
    """Ticks at the trees' middle dates, taller where more of them meet; looks, and the earliest stop."""
    if len(rows) == 1:
        return tree_line(rows[0], garden)
    own = [mark for row in rows for mark in row_marks(row, garden)]
    days, counts = np.unique(np.floor(list(_middles(rows).values())), return_counts=True)
    heights = 0.4 + 0.6 * counts / max(counts, default=1)
    ticks = [
        Mark.at("tick", day + 0.5, size) for day, size in zip(days.tolist(), heights.tolist(), strict=True)
    ]
    stop = min((mark.first for mark in own if mark.kind == "stop"), default=None)
    kept = {m for m in own if m.kind in ("now", "look") or (m.kind in ("late", "stop") and m.first == stop)}
    ends = [row_end(row) for row in sorted(rows, key=lambda row: stop_of(row) or date.max)]
    dated = next((end.replace("by ", "from ", 1) for end in ends if "by " in end), "several")
    label = f"{capital(name)} \N{MULTIPLICATION SIGN}{len(rows)}"
    return Line(label, ends[0] if len(set(ends)) == 1 else dated, tuple(rows), (*kept, *ticks))


def _middles(rows: Iterable[AgendaRow]) -> dict[str, float]:
    """The middle date of what comes next of each tree that has one, as an ordinal."""
    found = {row.tree.label: _ordinal(row.lead, 0.5) for row in rows if row.lead is not None}
    return {label: day for label, day in found.items() if math.isfinite(day)}


def axis_of(agenda: Agenda, lines: Iterable[Line]) -> Axis:
    """The axis of some lines: from what was seen first this season to leaf fall, or what comes later."""
    garden, marks, now = (
        agenda.garden,
        [m for line in lines for m in line.marks],
        agenda.garden.as_of.toordinal(),
    )
    start = date_style().week_start(garden.as_of) - timedelta(weeks=WEEKS_BACK)
    season = (
        garden.calendar.start(garden.season).toordinal(),
        garden.calendar.end(garden.season).toordinal(),
    )
    ahead = [m for m in marks if m.kind in AHEAD and m.last >= now]
    goes_on = any(m.first <= season[1] for m in ahead)
    seen = [m.first for m in marks if m.kind in ("seen", "work", "range") and m.first >= season[0]]
    first = min(start, date.fromordinal(int(min(seen, default=now)))) if goes_on or not ahead else start
    first = date_style().week_start(first)
    farthest = season[1] if goes_on else garden.calendar.end(garden.season + 1).toordinal()
    ends = [m.last for m in ahead if m.last <= farthest]
    last = max(max(ends, default=0.0), _leaf_fall(garden) if goes_on else 0.0, now + 7.0 * WINDOW_WEEKS)
    days = 7 * math.ceil((min(last, farthest) + MARGIN_DAYS - first.toordinal()) / 7)
    reach = np.quantile([m.first for m in ahead], 0.8) if ahead else 0.0
    weeks = min(MOST_WEEKS, max(WINDOW_WEEKS, math.ceil((reach - start.toordinal()) / 7) + 1))
    weeks = min(weeks, (days - (start - first).days) // 7)
    return Axis(first, days, (start, 7 * weeks), garden.as_of.toordinal() + 0.5)


def _leaf_fall(garden: Garden) -> float:
    """About when leaves fall: the usual first frost; 0 where it is not known or there is none."""
    place = garden.places[0].id
    frost = FreezeOdds.of(
        autumn_frosts(garden.record_at(((0, place),)), garden.limits.frost_c, garden.season)
    ).day(0.5)
    return 0.0 if frost is None else garden.calendar.start(garden.season).toordinal() + frost
