"""What a hardened flush opens, once the rules and the time of year have had their say."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from phenology.forecasting.arrival import Arrival
from phenology.garden import Garden
from phenology.heat.clocks import ThermalTime
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.model.errors import WeatherError
from phenology.model.operations import Operation
from phenology.model.records import Site
from phenology.weather.traces import Traces, draw_traces
from phenology.work.case import Case
from phenology.work.last_safe import Drawn, Late, WorkSeason
from phenology.work.rule import TRADE, better_from
from phenology.work.rules import Finding, check_work
from phenology.work.season_of_work import until_rest
from phenology.work.technique import OPERATION_OF, Choice, Option, choose, in_turn
from phenology.work.tree_rules import after_bloom

LATENESS = ("too late", "late", "rests until spring")
"""Rules that close waking growth for the year."""


@dataclass(frozen=True, eq=False, repr=False)
class Advice:
    """Advice on one window of work."""

    techniques: tuple[str, ...]  # what the flush opens when it is hard, in order; none where it is left alone
    refused: tuple[Finding, ...] = ()  # why the work that the flush would open is not advised
    warnings: tuple[Finding, ...] = ()  # what to mind with the work that is
    last_safe: date | None = None  # the last safe date; None where nothing limits work, or no day is safe
    limit: str = "none"  # the limit that ruled it, or "flower buds"; "none" where there is none
    reason: str = ""  # the same in a sentence
    # odds that new growth ripens if the work is done today, in 14 days, in 21
    odds: tuple[float, float, float] | None = None
    zone: str = "ripens"  # what a cut does today: "ripens", "danger" or "rests"
    # how late it is for growth woken on the day the work is judged; see `phenology.work.grades`
    grade: str | None = None
    better: str = ""  # from when the work is better, where weather stands against it now: "from 24 Jun"
    does: str = ""  # the work as an order, without a full stop; why the tree is left alone where it is

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
        """Advice on the work that a flush opens when it is hard, which it is, or will be as `opens` says."""
        garden, species = self.garden, self.garden.species_of(h.tree)
        now, day, planned = h.flush.season == garden.season, self._day(opens), opens is not None
        late = self.late(h) if now else None
        case = Case(garden, h.tree, Operation.CUTBACK, day, late=late, planned=planned, known=h)
        situation = case.situation()
        choice = choose(replace(situation, stage="hardened") if now else situation.next_season)
        by_leaf = [o for o in choice.options if o.technique != "bloom-cut"]  # the bloom has its own care
        if not now:  # next season's first flush: nothing of this one's stands against it
            return _advice([o for o in by_leaf if not o.unmet], choice)
        kept: list[Option] = []
        warnings: list[Finding] = []
        refused = [f for f in check_work(case) if f.forbids] if choice.leave else []
        for option in by_leaf:
            findings = check_work(case.by(option.operation))
            against = [f for f in findings if f.forbids]
            if option.wakes:
                refused += against
            if not (against or option.unmet or case.grade == "rests"):
                kept.append(option)
                warnings += findings
        found = _advice(kept, choice)
        if found.techniques and not found.wakes and any(f.rule in LATENESS for f in refused):
            found = replace(found, does=f"no more cutting {until_rest(species)}; {found.does}")
        if species.bloom_led:  # its bloom tells when, not how late the leaves are
            sentence = f"{species.name} is shaped {after_bloom(case)}, not as its leaves harden"
            over = [f for f in check_work(case) if f.forbids and f.rule not in LATENESS]
            refused = over or [Finding("bloom", True, sentence, TRADE)]
        if not (choice.leave or found.techniques):  # how late it is stands against all of it
            refused.sort(key=lambda f: f.rule not in LATENESS)
        if found.wakes:  # what else might have been done needs no reasons
            refused = []
        unique = tuple(dict.fromkeys(refused)), tuple(dict.fromkeys(warnings))
        better = better_from(unique[1]) if found.techniques else ""
        does = f"{found.does}, better {better}" if better else found.does
        found = replace(found, does=does, better=better, grade=case.grade)
        found = replace(found, refused=unique[0], warnings=unique[1])
        if late is None:
            return found
        required = case.required
        last, limit, reason = stop_of(case, late, -math.inf if opens is None else opens.quantile(0.5))
        return replace(
            found,
            last_safe=last,
            limit=limit,
            reason=reason,
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


def flower_stop(case: Case) -> float:
    """The day from which a tree grown for flower keeps what it has set; infinite where that stops no work."""
    flowers = case.grown_for == "flower" and not case.species.bloom_led
    return case.late_summer if flowers else math.inf


def stop_of(case: Case, late: Late, opens: float) -> tuple[date | None, str, str]:
    """The last safe date of work that opens on a day of the season, what ruled it, and that in a sentence."""
    stop, required = late.stop(case.required), case.required
    if (buds := flower_stop(case)) < stop.day:
        summer = case.species.blooms == "summer"
        why = "its flowers come on these shoots" if summer else "next year's flower buds are set by then"
        return late.calendar.date(late.season, buds), "flower buds", why
    return late.stated(required, opens), stop.limit, late.reason(required)


def _advice(kept: Sequence[Option], choice: Choice) -> Advice:
    """The first technique that wakes growth, halving with a cut; else what wakes nothing."""
    waking = next((o.technique for o in kept if o.wakes), None)
    quiet = tuple(o.technique for o in kept if not o.wakes)
    halve = tuple(t for t in quiet if t == "halve")
    techniques = halve or quiet
    if waking is not None:
        techniques = (waking, *(halve if waking == "extend-cut" else ()))
    return Advice(techniques, does=in_turn(techniques, choice.situation.species) or choice.leave)


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


def stop_days(
    garden: Garden, seasons: WorkSeason | None = None, only: Collection[str] | None = None
) -> dict[str, float]:
    """The last safe day of the season by tree id, of trees that are refined by their leaves; all, or some.

    A forecast brings its `seasons` along; else they are worked out. Trees without a limit, without a safe
    day or without weather are left out.
    """
    seasons, found = seasons or late_seasons(garden), dict[str, float]()
    for tree in garden.standing_trees:
        if only is not None and tree.id not in only:
            continue
        if garden.aim_of(tree) != "refining" or garden.species_of(tree).bloom_led:
            continue
        try:
            late = seasons.late(tree.species, garden.site(tree, garden.season))
        except WeatherError:
            continue
        case = Case(garden, tree, Operation.CUTBACK, garden.as_of, late=late)
        day = min(late.stop(case.required).day, flower_stop(case))
        if math.isfinite(day):
            found[tree.id] = day
    return found
