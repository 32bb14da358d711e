"""What a hardened flush opens, once the rules and the time of year have had their say."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date

from phenology.forecasting.arrival import Arrival
from phenology.garden import Garden
from phenology.heat.clocks import ThermalTime
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.model.operations import Operation
from phenology.model.records import Site, Tree
from phenology.species.species import Species
from phenology.weather.traces import Traces, draw_traces
from phenology.work.case import Case
from phenology.work.last_safe import Drawn, Late, WorkSeason
from phenology.work.rule import TRADE
from phenology.work.rules import Finding, check_work
from phenology.work.season_of_work import until_rest
from phenology.work.technique import OPERATION_OF, Choice, Option, choose, doing

LATENESS = ("too late", "late", "rests until spring")
"""Rules that close waking growth for the year."""


@dataclass(frozen=True)
class Advice:
    """Advice on one window of work.

    Attributes
    ----------
    techniques : tuple of str
        What the flush opens when it is hard, in order; none where it is left alone.
    refused : tuple of Finding
        Why the work that the flush would open is not advised.
    warnings : tuple of Finding
        What to mind with the work that is.
    last_safe : date or None
        The last safe date; None where nothing limits work, or no day is safe.
    limit : str
        The limit that ruled it; "none" where there is none.
    reason : str
        The same in a sentence.
    odds : (float, float, float) or None
        Odds that new growth ripens if the work is done today, in 14 days, in 21.
    zone : str
        What a cut does today: "ripens", "danger" or "rests".
    grade : str or None
        How late it is for growth woken on the day the work is judged; see `phenology.work.grades`.
    does : str
        The work as an order, without a full stop; why the tree is left alone where it is.
    """

    techniques: tuple[str, ...]
    refused: tuple[Finding, ...] = ()
    warnings: tuple[Finding, ...] = ()
    last_safe: date | None = None
    limit: str = "none"
    reason: str = ""
    odds: tuple[float, float, float] | None = None
    zone: str = "ripens"
    grade: str | None = None
    does: str = ""

    @property
    def operations(self) -> tuple[str, ...]:
        """What the techniques are written down as."""
        return tuple(dict.fromkeys(OPERATION_OF[technique] for technique in self.techniques))

    @property
    def operation(self) -> str | None:
        """The first of the operations; None where the tree is left alone."""
        return next(iter(self.operations), None)

    @property
    def wakes(self) -> bool:
        """Whether any of the work wakes growth."""
        return any(Operation(name).wakes for name in self.operations)

    def sentences(self) -> Iterator[str]:
        """Everything the rules said."""
        for finding in (*self.refused, *self.warnings):
            yield finding.sentence


class Adviser:
    """Advises on the windows of one garden; late seasons are worked out once a species and site."""

    def __init__(self, garden: Garden, fit: GardenFit, drawn: Drawn) -> None:
        self.garden = garden
        self.seasons = WorkSeason(garden, fit, drawn)

    def advise(self, h: FlushHistory, opens: Arrival | None = None) -> Advice:
        """Advice on the work that a flush opens when it is hard.

        Parameters
        ----------
        h : FlushHistory
        opens : Arrival, optional
            When the flush will be hard; None where it is.
        """
        garden, now = self.garden, h.flush.season == self.garden.season
        late = self.late(h) if now else None
        day = self._day(opens)
        case = Case(garden, h.tree, Operation.CUTBACK, day, late=late, planned=opens is not None, known=h)
        choice = choose(replace(case.situation(), stage="hardened"))
        if not now:  # next season's first flush: nothing of this one's stands against it
            return _advice(h.tree, tuple(o for o in choice.options if not o.unmet), choice, garden)
        kept: list[Option] = []
        refused: dict[Finding, None] = {}
        if choice.leave:
            refused.update(dict.fromkeys(f for f in check_work(case) if f.forbids))
        warnings: dict[Finding, None] = {}
        for option in choice.options:
            findings = check_work(replace(case, operation=option.operation))
            against = [f for f in findings if f.forbids]
            if against and option.wakes:
                refused.update(dict.fromkeys(against))
            if against or option.unmet or case.grade == "rests":
                continue
            kept.append(option)
            warnings.update(dict.fromkeys(findings))
        found = _advice(h.tree, tuple(kept), choice, garden)
        if found.techniques and not found.wakes and any(f.rule in LATENESS for f in refused):
            rest = until_rest(garden.species_of(h.tree))
            found = replace(found, does=f"no more cutting {rest}; {found.does}")
        if garden.species_of(h.tree).bloom_led:  # its bloom tells when, not how late the leaves are
            refused = {f: None for f in refused if f.rule not in LATENESS}
            refused = refused or {_by_bloom(garden.species_of(h.tree)): None}
        if found.wakes:  # what else might have been done needs no reasons
            refused = {}
        found = replace(found, refused=tuple(refused), warnings=tuple(warnings), grade=case.grade)
        if late is None:
            return found
        required = case.required
        return replace(
            found,
            last_safe=late.stated(required, -math.inf if opens is None else opens.quantile(0.5)),
            limit=late.stop(required).limit,
            reason=late.reason(required),
            odds=late.odds(),
            zone=late.zone(late.today, required),
        )

    def late(self, h: FlushHistory) -> Late:
        """The late season of a flush's species and site."""
        return self.seasons.late(h.tree.species, h.site)

    def _day(self, opens: Arrival | None) -> date:
        """The day on which the work is judged: today, or an early day for the flush to be hard.

        A window that only may open too late is not closed beforehand: its last safe date says enough.
        """
        calendar, season, today = self.garden.calendar, self.garden.season, self.garden.as_of
        if opens is None:
            return today
        early, end = opens.quantile(0.1), calendar.end(season)
        return end if math.isinf(early) else min(max(today, calendar.date(season, early)), end)


def _by_bloom(species: Species) -> Finding:
    sentence = f"{species.name} is shaped as its flowers fade, not as its leaves harden"
    return Finding("bloom", True, sentence, TRADE)


def _advice(tree: Tree, kept: tuple[Option, ...], choice: Choice, garden: Garden) -> Advice:
    """The first technique that wakes growth, halving with a cut; else what wakes nothing."""
    waking = next((o.technique for o in kept if o.wakes), None)
    quiet = tuple(o.technique for o in kept if not o.wakes)
    techniques = tuple(t for t in quiet if t == "halve") or quiet
    if waking is not None:
        techniques = (waking, *(t for t in quiet if t == "halve" and waking == "extend-cut"))
    species = garden.species_of(tree)
    does = ", then ".join(doing(technique, species) for technique in techniques)
    return Advice(techniques, does=does or choice.leave)


def late_seasons(garden: Garden) -> WorkSeason:
    """The late seasons of a garden on their own, without its forecast."""
    drawn: dict[tuple[Site, int, int], tuple[Traces, ThermalTime]] = {}

    def draw(site: Site, season: int, issued: int) -> tuple[Traces, ThermalTime]:
        if (site, season, issued) not in drawn:
            outlook = garden.outlook_at(site)
            traces = draw_traces(garden.record_at(site), season, issued, outlook=outlook)
            drawn[site, season, issued] = traces, traces.thermal_time()
        return drawn[site, season, issued]

    return WorkSeason(garden, GardenFit(garden), draw)
