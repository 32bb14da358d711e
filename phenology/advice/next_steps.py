"""What each forecast row asks of its grower next, and which rows are shown: one answer for all views."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from phenology.advice.forecast_rows import ForecastRow, GardenForecast, Trust
from phenology.garden import Garden
from phenology.work.rules import Finding

AHEAD_DAYS = 120
"""What lies further ahead is not told yet (ours)."""

LONG_PAST_DAYS = 120
"""Leaves that nobody saw harden are not looked for any more, so long after they very probably did (ours)."""

LEAST_WEEKS, MOST_WEEKS = 13, 26
WEEKLY = timedelta(weeks=8)  # a rhythm of looks without an end in sight goes on so long (ours)
ALIKE_DAYS = 3  # trees whose next looks lie this close are told together (ours)


@dataclass(frozen=True)
class NextStep:
    """A forecast row on its garden's day: dates for its days of the season, and what to do about them.

    Attributes
    ----------
    row : ForecastRow
    garden : Garden
    """

    row: ForecastRow
    garden: Garden = field(repr=False)

    def date_at(self, level: float) -> date | None:
        """The date by which the stage has come with chance `level`; None beyond what comes this season."""
        t = self.row.day(level)
        return None if t is None else self.garden.calendar.date(self.row.season, t)

    @property
    def undated(self) -> bool:
        """Whether only a rhythm of looks is named and no date: with a species guess, or under cover."""
        row = self.row
        return row.arrival is not None and not (row.dated and row.trust.seasons > 0)

    @property
    def weekly(self) -> tuple[date, date]:
        """From when to when to look once a week, where no date is given."""
        first = max(self.date_at(0.1) or self.row.look_on, self.garden.as_of)
        return first, max(self.date_at(0.9) or first + WEEKLY, first)

    @property
    def last_safe(self) -> date | None:
        """The last day on which a cut still ripens; None where no cut is advised or nothing limits it."""
        return self.row.advice.last_safe if self.row.advice and self.row.advice.wakes else None

    @property
    def odds(self) -> tuple[float, float, float] | None:
        """Odds that what a cut wakes ripens, made today, in two weeks, in three; None without dates."""
        known = self.row.advice is not None and self.row.advice.wakes and self.row.trust.seasons > 0
        return self.row.advice.odds if self.row.advice and known else None

    @property
    def refused(self) -> Finding | None:
        """Why the work that hardening opens is not advised; None where it is, or none is wanted."""
        advice = self.row.advice
        return advice.refused[0] if advice and advice.refused and self.row.operation is None else None

    @property
    def order(self) -> tuple[date, float, str]:
        """For sorting: the soonest look first."""
        return self.row.look_on, self.row.order, self.row.tree.label


@dataclass(frozen=True)
class Alike:
    """Trees that can be told together: alike in everything but a day or two."""

    steps: tuple[NextStep, ...]

    @property
    def first(self) -> NextStep:
        """The one whose look comes first; it speaks for all where they do not differ."""
        return self.steps[0]

    @property
    def labels(self) -> list[str]:
        """The trees' labels."""
        return [step.row.tree.label for step in self.steps]

    def date_at(self, level: float) -> date | None:
        """The date that covers them all: the earliest low one, the latest high one."""
        dates = [step.date_at(level) for step in self.steps]
        known = [day for day in dates if day is not None]
        if level < 0.5:
            return min(known, default=None)
        return max(known) if len(known) == len(dates) else None

    @property
    def weekly_from(self) -> date:
        """From when to look once a week, where no date is given."""
        return min(step.weekly[0] for step in self.steps)

    @property
    def last_safe(self) -> date | None:
        """The earliest of their last safe dates."""
        known = [step.last_safe for step in self.steps if step.last_safe is not None]
        return min(known, default=None)

    @property
    def odds(self) -> tuple[float, ...] | None:
        """Those of the least sure tree, for each of the days that a cut might be made on."""
        known = [step.odds for step in self.steps if step.odds is not None]
        return tuple(min(column) for column in zip(*known, strict=True)) if known else None

    @property
    def trust(self) -> Trust:
        """As far as the least certain tree's forecast may be trusted."""
        return max((step.row.trust for step in self.steps), key=lambda trust: trust.within or 0.0)


def deciding_steps(forecast: GardenForecast) -> Iterator[NextStep]:
    """Of each flush the one row that decides what its grower does next.

    Hardening once bud break was seen, or is very probably past, or work woke the flush; before that the
    coming bud break.
    """
    flushes: dict[tuple[str, int, int], dict[str, NextStep]] = {}
    for row in forecast.rows:
        key = row.tree.id, row.season, row.flush
        flushes.setdefault(key, {})[row.stage] = NextStep(row, forecast.garden)
    for stages in flushes.values():
        first = stages.get("budbreak")
        if first is not None and _is_past(first) and "hardened" in stages:
            first = None  # nobody looked, and it is too late to look for that
        step = first if first is not None and first.row.flush == 1 else stages.get("hardened")
        if step is None or (_is_past(step, LONG_PAST_DAYS) and step.row.seen[0] is None):
            continue  # never looked at, and by now the leaves turn: the next is spring's
        if step.row.arrival is not None or step.row.operation is not None or step.refused:
            yield step


def _is_past(step: NextStep, days: int = 0) -> bool:
    by = step.date_at(0.9)
    return by is not None and by < step.garden.as_of - timedelta(days=days)


def coming_steps(forecast: GardenForecast) -> list[NextStep]:
    """The deciding steps of the coming months, soonest look first."""
    return _sorted(forecast, far=False)


def far_steps(forecast: GardenForecast) -> list[NextStep]:
    """Those that lie further ahead, soonest look first."""
    return _sorted(forecast, far=True)


def _sorted(forecast: GardenForecast, *, far: bool) -> list[NextStep]:
    until = forecast.garden.as_of + timedelta(days=AHEAD_DAYS)
    found = (step for step in deciding_steps(forecast) if (step.row.look_on > until) == far)
    return sorted(found, key=lambda step: step.order)


def alike(steps: Sequence[NextStep]) -> list[Alike]:
    """Steps in groups that can share a sentence, in the order of their first."""
    groups: dict[tuple[object, ...], list[list[NextStep]]] = {}
    for step in steps:
        row, open_now = step.row, step.row.arrival is None
        key = (row.species_name, row.stage, row.operation, row.place, row.trust.seasons, open_now, row.flush)
        key = (*key, step.refused and step.refused.rule, *(row.seen if open_now else ()))
        found = groups.setdefault(key, [])
        if found and (row.look_on - found[-1][0].row.look_on).days <= ALIKE_DAYS:
            found[-1].append(step)
        else:
            found.append([step])
    together = [group for found in groups.values() for group in found]
    return [Alike(tuple(group)) for group in sorted(together, key=lambda group: steps.index(group[0]))]


def weeks_ahead(steps: Iterable[NextStep]) -> int:
    """How many weeks a picture must show to hold what is coming: a season's quarter to its half."""
    reach = [(day - step.garden.as_of).days for step in steps if (day := step.date_at(0.9)) is not None]
    return min(MOST_WEEKS, max(LEAST_WEEKS, max(reach, default=0) // 7 + 2))


def row_warnings(steps: Iterable[NextStep]) -> dict[str, list[str]]:
    """What to mind with which trees, each said once; why work is refused is left to the row itself."""
    found: dict[str, list[str]] = {}
    for step in steps:
        refused = step.refused.sentence if step.refused else None
        for warning in step.row.warnings:
            if warning != refused and step.row.tree.label not in found.setdefault(warning, []):
                found[warning].append(step.row.tree.label)
    return found
