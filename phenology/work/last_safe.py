"""When to stop: the last safe date of each species and place, the limit that ruled, and the three zones.

Early in the season a cut wakes growth that ripens; later it wakes growth that does not; at last it wakes
nothing before spring. The last safe date ends the first zone. For temperate species the earliest of three
limits rules and is named; the two that are kept by the calendar give way to the garden's own late flushes.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from operator import is_
from typing import NamedTuple, cast

import numpy as np

from phenology.forecasting.propagation import Requires, link_step
from phenology.forecasting.ripening import Ripening, ripening
from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS, ThermalTime
from phenology.heat.daylength import daylength
from phenology.language.date_style import short_date
from phenology.language.degrees import degrees
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.learning.prediction import Prediction, by_duration
from phenology.learning.requirement import Requirement
from phenology.learning.transitions import Transition
from phenology.model.arrays import Array
from phenology.model.limits import Limits
from phenology.model.records import Site
from phenology.model.season import NEVER, SeasonCalendar
from phenology.weather.frost import FreezeOdds, LateSeason, first_frosts, late_season
from phenology.weather.traces import Traces
from phenology.work.grades import grade_of

HARDENING = (Transition("extended", "hardened"), Transition("budbreak", "hardened"))

Drawn = Callable[[Site, int, int], tuple[Traces, ThermalTime]]

GRID_DAYS = 14  # work days are tried this far apart (ours)
BEFORE_SUMMER = 120  # work is tried from this long before midsummer, at first every other step (ours)
OWN_FLUSHES = 3  # own late flushes that must all have ripened before a calendar limit gives way (ours)
RULES_DAYS = 7  # buds at rest rule where a cut would be safe this much later without them (ours)
WAITING = (0, 14, 21)  # what waiting costs is told for these [days]

SOURCES = {
    "frost": "common practice, no source: hard three weeks before the first frost",
    "cool nights": "from memory, unverified: trees of warm winters rest below about 12 °C",
    "rest": "common practice, no source: buds cut in early autumn mostly stay shut until spring",
    "weeks": "from memory, unverified: no later than ten weeks before the median first frost",
    "daylength": "from memory, unverified: not once days are shorter than 13 hours",
}
"""The limits and where they come from; each can be set by the garden."""


class Stop(NamedTuple):
    """The last safe day of work that wakes a flush."""

    day: float  # day of the season; infinite where nothing limits work, minus infinity where no day is safe
    limit: str  # what ruled: a key of `SOURCES`, or "none"


@dataclass(frozen=True, eq=False, repr=False)
class Late:
    """The late season of one species in one place."""

    calendar: SeasonCalendar
    season: int
    today: int
    curve: Ripening
    # limits kept by the calendar, those that gave way left out
    calendar_limits: tuple[tuple[str, float], ...]
    freeze: FreezeOdds  # first frosts of the place, in today's climate
    ender: str  # what ends growth here: "frost" or "cool nights"
    limits: Limits
    summer: int  # day of season that is usually warmest
    # whether the odds rest on the catalogue alone: no flush of the species was seen here from its beginning
    # until it was hard
    guess: bool = False

    def stop(self, required: float | None = None) -> Stop:
        """The last safe day at some odds; those of the garden unless others are given."""
        wanted = self.limits.odds if required is None else required
        if wanted not in self._stops:
            self._stops[wanted] = self._stop(wanted)
        return self._stops[wanted]

    @cached_property
    def _stops(self) -> dict[float, Stop]:
        return {}

    def _stop(self, wanted: float) -> Stop:
        last = self.curve.last_day(wanted)
        ruled = self.ender if last is None or not self._rules_by_rest(last, wanted) else "rest"
        found = [(ruled, -math.inf if last is None else last), *self.calendar_limits]
        if last is not None and last >= self.curve.days[-1]:
            found = list(self.calendar_limits)  # ripe whenever it is tried
        name, day = min(found, key=lambda limit: limit[1], default=("none", math.inf))
        return Stop(day if math.isinf(day) else math.floor(day), name)

    def _rules_by_rest(self, last: float, wanted: float) -> bool:
        """Whether growth woken after the last day would ripen, did buds not stay shut."""
        answered = self.curve.last_day(wanted, answered=True)
        return answered is not None and answered > last + RULES_DAYS

    def last_safe(self, required: float | None = None) -> date | None:
        """The last safe date; None where nothing limits work, or no day is safe."""
        day = self.stop(required).day
        return None if math.isinf(day) else self.calendar.date(self.season, day)

    def stated(self, required: float | None, opens: float) -> date | None:
        """The last safe date, as a grower is told it of work that opens on a day of the season.

        A guess that calls a day too late, where that may be a guess too, has no date to tell.
        """
        over = max(opens, self.today) > self.stop(required).day
        return None if self.guess and over else self.last_safe(required)

    def odds(self) -> tuple[float, float, float]:
        """Odds that a cut ripens if it is made today, in two weeks, in three."""
        first, second, third = (self.odds_on(self.today + wait) for wait in WAITING)
        return first, second, third

    def zone(self, day: float, required: float | None = None) -> str:
        """What a cut does on a day: "ripens", "danger" (wakes, does not ripen) or "rests"."""
        if day <= self.stop(required).day:
            return "ripens"
        return "rests" if self.curve.only_rests(day) else "danger"

    def odds_on(self, day: float) -> float:
        """Odds that growth woken on a day ripens."""
        if day not in self._odds:
            self._odds[day] = self.curve.odds(day)
        return self._odds[day]

    @cached_property
    def _odds(self) -> dict[float, float]:
        return {}

    def grade(self, day: float, required: float) -> str:
        """How late it is for growth woken on a day: see `grades`, or "rests"."""
        told = [self.today + wait for wait in WAITING]  # whose odds are known; they fall with the day
        if any(day < later and self.grade(later, required) == "safe" for later in told):
            return "safe"
        if (day, required) not in self._grades:
            first = min((limit for _, limit in self.calendar_limits), default=math.inf)
            grade = grade_of(self.odds_on(day), required, max(0.0, day - first))
            self._grades[day, required] = "rests" if self.zone(day, required) == "rests" else grade
        return self._grades[day, required]

    @cached_property
    def _grades(self) -> dict[tuple[float, float], str]:
        return {}

    def reason(self, required: float | None = None) -> str:
        """The limit that ruled, in a sentence."""
        stop, wanted = self.stop(required), self.limits.odds if required is None else required
        return _REASONS[stop.limit](self, wanted)


def _frost_reason(late: Late, wanted: float) -> str:
    return (
        f"new growth must be hard {late.limits.days_before_frost} days before the first frost, "
        f"with odds of {in_words(wanted)}"
    )


def _weeks_reason(late: Late, wanted: float) -> str:
    median = late.freeze.day(0.5)
    assert median is not None
    when = late.calendar.date(late.season, median)
    return (
        f"cuts stop {late.limits.weeks_before_frost:g} weeks before the usual first frost "
        f"({short_date(when)})"
    )


_REASONS: dict[str, Callable[[Late, float], str]] = {
    "frost": _frost_reason,
    "cool nights": lambda late, wanted: (
        f"new growth must be hard before nights fall below {degrees(late.limits.cool_night_c)}, "
        f"with odds of {in_words(wanted)}"
    ),
    "weeks": _weeks_reason,
    "rest": lambda late, wanted: "buds cut later may stay shut until spring",
    "daylength": lambda late, wanted: (
        f"cuts stop when days grow shorter than {late.limits.least_daylength:g} hours"
    ),
    "none": lambda late, wanted: "nothing ends growth here; strength and season decide",
}


def in_words(odds: float) -> str:
    """Odds as growers say them.

    Examples
    --------
    >>> in_words(0.9), in_words(0.95), in_words(0.8), in_words(0.87)
    ('9 in 10', '19 in 20', '4 in 5', '87 in 100')
    """
    for of in (2, 3, 4, 5, 10, 20, 100):
        if abs(odds * of - round(odds * of)) < 1e-6:
            return f"{round(odds * of)} in {of}"
    return f"{round(odds * 100)} in 100"


class Ending(NamedTuple):
    """How the season ends in a site."""

    season: LateSeason  # the traces, to their first frost
    freeze: FreezeOdds  # first frosts of past winters, in today's climate
    then: dict[int, float]  # the same as they came, by season
    # limits of temperate species that are kept by the calendar
    calendar_limits: tuple[tuple[str, float], ...]


class WorkSeason:
    """The late season of a garden, worked out once a species and site, and only when asked.

    Parameters
    ----------
    garden : Garden
    fit : GardenFit
    drawn : callable
        Gives the traces and clocks of a site from a day of a season on.
    """

    def __init__(self, garden: Garden, fit: GardenFit, drawn: Drawn) -> None:
        self.garden, self.fit, self.drawn = garden, fit, drawn
        self._late: dict[tuple[Site, str], Late] = {}
        self._seasons: dict[Site, Ending] = {}

    def late(self, species: str, site: Site) -> Late:
        """The late season of a species in a site."""
        key = (site, species)
        if key not in self._late:
            self._late[key] = self._work_out(species, site)
        return self._late[key]

    def ending(self, site: Site) -> Ending:
        """How the season ends in a site."""
        if site not in self._seasons:
            garden, limits = self.garden, self.garden.limits
            record = garden.record_at(site)
            traces, thermal_time = self.drawn(site, garden.season, garden.today)
            season = late_season(traces, thermal_time, record, limits.frost_c, limits.cool_night_c)
            then = first_frosts(record, limits.frost_c)
            now = [
                day
                for s, day in first_frosts(record, limits.frost_c, today=garden.season).items()
                if s != garden.season
            ]
            few = record.possible is not None or not now
            freeze = FreezeOdds.of(season.frost if few else now)
            self._seasons[site] = Ending(season, freeze, then, tuple(self._calendar_limits(site, freeze)))
        return self._seasons[site]

    def _work_out(self, species: str, site: Site) -> Late:
        garden, limits = self.garden, self.garden.limits
        ending = self.ending(site)
        curve = self._ripening(species, site, ending.season)
        kind = garden.species.get(species)
        tropical = kind is not None and kind.is_tropical
        own = own_late_flushes(self._woken, species, ending.then)
        kept = tuple(
            (name, day)
            for name, day in (() if tropical else ending.calendar_limits)
            if not gives_way(day, own, limits.days_before_frost)
        )
        ender = "cool nights" if ending.season.frost_free else "frost"
        return Late(
            garden.calendar,
            garden.season,
            garden.today,
            curve,
            kept,
            ending.freeze,
            ender,
            limits,
            ending.season.summer,
            not any(self.fit.seasons_seen(species, step) for step in HARDENING),
        )

    @cached_property
    def _woken(self) -> list[FlushHistory]:
        """The flushes that work woke."""
        return [h for h in self.fit.histories if h.woken is not None]

    def _ripening(self, species: str, site: Site, season: LateSeason) -> Ripening:
        """The odds by day of work; those of a garden with other records stand where they teach the same."""
        garden, chain = self.garden, self.fit.chain_of(species, "work")
        days = _grid(garden.today, season)
        rests = np.array([self.fit.rests(species, day) for day in days])
        waits = [wait for link in chain for wait in (link.wait, *(one.wait for one in link.strides))]
        learned = [self.fit.requirement(wait) for wait in waits]
        rests_on, key = (garden.surroundings, chain, rests.tolist()), ("ripening", species, site)
        kept = cast(tuple[object, list[Requirement], Ripening] | None, garden.worked_out.get(key))
        if kept is not None and kept[0] == rests_on and all(map(is_, kept[1], learned)):
            return kept[2]
        steps = [link_step(link, lambda wait: self._requirement(species, wait)) for link in chain]
        ends = season.end()
        before = np.where(np.isfinite(season.frost), garden.limits.days_before_frost, 0)
        curve = ripening(steps, season.thermal_time, days, ends - before, ends, rests)
        curve.work_out(garden.today + float(wait) for wait in WAITING)
        garden.worked_out[key] = rests_on, learned, curve
        return curve

    def _requirement(self, species: str, wait: Transition) -> Requires:
        """A wait after work, for any tree of a species, given no help by the time of year.

        A wait that keeps to its date, or that short days hurry on, must not make a late cut look ripe. (The
        forecast of a flush that was really woken does let date and light speak.)
        """

        fitted, season = self.fit.requirement(wait), self.garden.season  # all that is kept with the odds

        def requirement(began: float) -> Prediction:
            return by_duration(fitted.predict(species, "", season, True, began, lean=False), CLOCKS)

        return requirement

    def _calendar_limits(self, site: Site, freeze: FreezeOdds) -> Iterator[tuple[str, float]]:
        garden, limits = self.garden, self.garden.limits
        median = freeze.day(0.5)
        if median is not None:
            yield "weeks", median - 7 * limits.weeks_before_frost
        assert isinstance(site, tuple)
        place = next(p for p in garden.places if p.id == site[-1][1])
        short = last_long_day(garden.calendar, garden.season, place.latitude, limits.least_daylength)
        if short is not None:
            yield "daylength", float(short)


def is_old(vigour: str | None, note: str | None = None) -> bool:
    """Whether the grower calls a tree old, in its vigour or its note: it is given better odds.

    Examples
    --------
    >>> is_old("old, steady"), is_old("strong", "an old tree"), is_old("cold frame"), is_old(None)
    (True, True, False, False)
    """
    words = f"{vigour or ''} {note or ''}".casefold().replace(",", " ").replace(".", " ").split()
    return bool({"old", "veteran", "ancient", "aged"} & set(words))


def last_long_day(calendar: SeasonCalendar, season: int, latitude: float, hours: float) -> int | None:
    """The last day, from the longest one on, that is not shorter than `hours`; None where days never cross.

    Examples
    --------
    >>> north, south = SeasonCalendar(), SeasonCalendar(7, 1)
    >>> last_long_day(north, 2026, 48.2, 13.0), last_long_day(south, 2026, -48.2, 13.0)
    (252, 250)
    >>> last_long_day(north, 2026, 10.0, 13.0) is None
    True
    """
    days = [calendar.start(season) + timedelta(days=k) for k in range(calendar.length(season))]
    light = daylength(np.array([d.timetuple().tm_yday for d in days]), latitude)
    longest = int(np.argmax(light))
    if light.max() < hours or light.min() >= hours:
        return None
    short = np.flatnonzero(light[longest:] < hours)
    return longest + int(short[0]) if len(short) else None


def own_late_flushes(
    histories: Iterable[FlushHistory], species: str, frosts: dict[int, float]
) -> list[tuple[float, float, float]]:
    """Own woken flushes of a species: day of work, day seen hard (infinite: never), first frost after it."""
    out = []
    for h in histories:
        if h.tree.species != species or h.woken is None or h.flush.season not in frosts:
            continue
        after, by = h.came.get("hardened", (math.nan, NEVER))
        if math.isnan(after) and not h.lost:
            continue  # nobody looked
        out.append((h.woken[1], math.inf if h.lost else by, frosts[h.flush.season]))
    return out


def gives_way(limit: float, own: Sequence[tuple[float, float, float]], days_before: int) -> bool:
    """Whether a calendar limit gives way: enough own flushes were woken after it, and all ripened."""
    later = [ripe <= frost - days_before for work, ripe, frost in own if work > limit]
    return len(later) >= OWN_FLUSHES and all(later)


def _grid(today: int, season: LateSeason) -> Array:
    """Work days to be tried: every other week from spring to the end of growth, and today and what waits."""
    ends = sorted(day for day in season.end().tolist() if math.isfinite(day))
    middle = len(ends) // 2  # np.median would load numpy.ma
    last = (ends[middle] + ends[~middle]) / 2 if ends else season.summer + 160.0
    last = min(last, season.thermal_time.days - 1.0)
    first, dense = max(1.0, season.summer - BEFORE_SUMMER), season.summer - BEFORE_SUMMER / 2
    early = np.arange(first, dense, 2 * GRID_DAYS)
    tried = np.arange(dense, max(last, today + 22.0) + GRID_DAYS, GRID_DAYS)
    asked = [today + float(wait) for wait in WAITING]
    return np.array(sorted({*early.tolist(), *tried.tolist(), *asked}))
