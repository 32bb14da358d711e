"""Trees of the agenda that can be told together, and what to mind with them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from typing import NamedTuple

from phenology.advice.agenda import AgendaRow, Section
from phenology.advice.forecast_rows import ForecastRow, Trust

ALIKE_DAYS, COARSE_DAYS = 3, 45  # trees whose next looks lie this close are told together (ours)


class AlikeSteps(NamedTuple):
    """Forecasts that can share a sentence, the soonest look first."""

    steps: tuple[ForecastRow, ...]

    @property
    def first(self) -> ForecastRow:
        """The one whose look comes first; it speaks for all where they do not differ."""
        return self.steps[0]

    def date_at(self, level: float) -> date | None:
        """The date that covers them all: the earliest low one, the latest high one."""
        dates = [step.date_at(level) for step in self.steps]
        known = [day for day in dates if day is not None]
        if level < 0.5:
            return min(known, default=None)
        return max(known) if len(known) == len(dates) else None

    @property
    def guess(self) -> bool:
        """Whether any of them is one."""
        return any(step.guess for step in self.steps)

    @property
    def middles(self) -> tuple[date, date] | None:
        """The earliest and the latest of their middle dates; None where one of them has none."""
        dates = [step.date_at(0.5) for step in self.steps]
        known = [day for day in dates if day is not None]
        return (min(known), max(known)) if known and len(known) == len(dates) else None

    @property
    def last_safe(self) -> date | None:
        """The earliest of their last safe dates."""
        return min((s.last_safe for s in self.steps if s.last_safe is not None), default=None)

    @property
    def odds(self) -> tuple[float, ...] | None:
        """Those of the least sure tree, for each of the days that a cut might be made on."""
        known = [step.odds for step in self.steps if step.odds is not None]
        return tuple(min(column) for column in zip(*known, strict=True)) if known else None

    @property
    def trust(self) -> Trust:
        """As far as the least certain tree's forecast may be trusted."""
        return max((step.trust for step in self.steps), key=lambda trust: trust.within or 0.0)


class Alike(NamedTuple):
    """Trees that can be told together: alike in everything but a day or two."""

    rows: tuple[AgendaRow, ...]

    @property
    def first(self) -> AgendaRow:
        """The one whose look comes first; it speaks for all where they do not differ."""
        return self.rows[0]

    @property
    def labels(self) -> list[str]:
        """The trees' labels."""
        return [row.tree.label for row in self.rows]

    @property
    def parts(self) -> list[AlikeSteps]:
        """Their forecasts, flush by flush; the coming spring's where nothing of this season is ahead."""
        flushes = zip(*(row.told for row in self.rows), strict=True)
        return [AlikeSteps(tuple(sorted(steps, key=lambda s: s.look_on))) for steps in flushes]

    @property
    def spring(self) -> AlikeSteps | None:
        """The coming spring's bud break beside leaves that are hard, where nothing else lies ahead."""
        if any(step.arrival is not None for step in self.first.told):
            return None
        found = tuple(row.spring for row in self.rows if row.spring is not None)
        return AlikeSteps(found) if found else None


def alike(rows: Sequence[AgendaRow], *, coarse: bool = False) -> list[Alike]:
    """Rows in groups that can share a line, in the order of their first.

    `coarse` puts together what differs by weeks or in what was seen last, for gardens of very many trees.
    """
    apart = COARSE_DAYS if coarse else ALIKE_DAYS
    groups: dict[tuple[object, ...], list[list[AgendaRow]]] = {}
    for row in rows:
        found = groups.setdefault(_key(row, coarse), [])
        if found and row.lead is not None and abs((row.lead.look_on - _look_on(found[-1][0])).days) <= apart:
            found[-1].append(row)
        else:
            found.append([row])
    together = [group for found in groups.values() for group in found]
    return [Alike(tuple(group)) for group in sorted(together, key=lambda group: rows.index(group[0]))]


def _look_on(row: AgendaRow) -> date:
    return row.lead.look_on if row.lead is not None else date.max


def _key(row: AgendaRow, coarse: bool) -> tuple[object, ...]:
    steps = tuple(
        (
            *(
                step.stage,
                step.operation,
                step.flush,
                step.guess and not coarse,
                step.dated,
                step.decides,
                _refused(step),
            ),
            step.arrival is None and not (coarse and row.section is Section.TODAY),
        )
        for step in row.told
    )
    visits = tuple(
        (visit.look_for, visit.because if visit.operation and not (coarse and visit.step) else "")
        for visit in row.presses
    )
    left = (
        coarse and row.section is Section.LEAVE and not row.open_end and not any(s.refused for s in row.told)
    )
    kind = "" if left else row.tree.species  # of trees with nothing to decide the species does not matter
    key = row.section, kind, steps, visits, "" if row.told and not row.open_end else row.reason
    return key if coarse else (*key, row.state.stage, row.state.operation)


def _refused(step: ForecastRow) -> str:
    return step.refused.rule if step.refused is not None else ""


def row_warnings(rows: Iterable[AgendaRow]) -> dict[str, list[str]]:
    """What to mind with which trees, each said once; why work is refused is left to the row itself."""
    found: dict[str, list[str]] = {}
    for row in rows:
        for step in row.told:
            refused = step.refused.sentence if step.refused else None
            for warning in step.warnings:
                if warning != refused and row.tree.label not in found.setdefault(warning, []):
                    found[warning].append(row.tree.label)
    return {warning: labels for warning, labels in found.items() if labels}
