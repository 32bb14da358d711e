"""One piece of work about to be done, with what the garden knows that bears on it."""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from phenology.garden import Garden
from phenology.learning.flush_history import FlushHistory, histories_of
from phenology.model.operations import HALVING_JOINS
from phenology.model.records import Place, Tree, Work
from phenology.model.stages import stage_rank
from phenology.species.catalogue import Species
from phenology.weather.series import DailyWeather
from phenology.work.last_safe import Late, is_old
from phenology.work.season_of_work import YearState
from phenology.work.situation import Done, Situation
from phenology.work.zones import Vigour, names, read_vigour, zone_of

NOTE_DAYS = 3  # notes of looks this recent are read for wilting and wet leaves (ours)

WILTING = ("wilt", "droop", "flagging", "limp", "thirsty", "dried out")
WET = ("wet", "rain", "drizzle", "soaked", "damp leaves", "dripping")
FADED = ("faded", "bloom over", "flowers over", "finished flowering", "done flowering", "deadheaded")
FLOWERING = ("flowering", "blooming", "in flower", "in bloom", "full bloom")

MIDSUMMER_DAYS = 30  # the warmest days come about so long after the longest, where no weather tells (ours)


@dataclass(frozen=True, eq=False, repr=False)
class Case:
    """Work on one tree on one day."""

    garden: Garden  # as known on the day
    tree: Tree
    operation: str
    day: date
    part: str | None = None
    note: str = ""  # what the grower says of the work
    early: bool = False  # the grower knows that the leaves are not hard yet
    late: Late | None = None  # the late season of the tree's species and place, where weather allows one
    # asked ahead, for a window that may open later: what only holds on the day itself is left out
    planned: bool = False
    known: FlushHistory | None = None  # the flush that is worked on, where it is known already

    def by(self, operation: str) -> Case:
        """The same with another piece of work; what was looked up for one holds for the other."""
        other = copy(self)
        other.__dict__["operation"] = operation
        return other

    @property
    def label(self) -> str:
        """The tree, as the grower calls it; "it" where a species is meant and no tree."""
        return self.tree.label or "it"

    @cached_property
    def species(self) -> Species:
        """What the tree is."""
        return self.garden.species_of(self.tree)

    @cached_property
    def season(self) -> int:
        """The season of the work."""
        return self.garden.calendar.season_of(self.day)

    @cached_property
    def t(self) -> int:
        """The day of the season."""
        return self.garden.calendar.day(self.day)

    @cached_property
    def place(self) -> Place:
        """Where the tree stands that day."""
        return self.garden.place_of(self.tree, self.day)

    @cached_property
    def history(self) -> FlushHistory | None:
        """The newest flush of the season that has begun and goes on."""
        if self.known is not None:
            return self.known
        mine = [
            h
            for h in histories_of(self.garden, self.tree)
            if h.flush.season == self.season and (h.flush.started_on or self.day) <= self.day
        ]
        live = [h for h in mine if h.ended is None]
        return (live or mine)[-1] if mine else None

    @property
    def stage(self) -> str | None:
        """Latest stage seen of that flush."""
        return self.history.stage if self.history else None

    def shown(self, stage: str) -> bool:
        """Whether that flush was seen at a stage or beyond it."""
        return self.stage is not None and stage_rank(self.stage) >= stage_rank(stage)

    def done(self, *operations: str, seasons_ago: int = 0) -> list[Work]:
        """Work of these kinds, or of any, in a season, up to the day before."""
        works = self.garden.works_of_season.get((self.tree.id, self.season - seasons_ago), ())
        return [w for w in works if w.latest < self.day and (not operations or w.operation in operations)]

    @cached_property
    def repotted_on(self) -> date | None:
        """When the tree was repotted this season."""
        start = self.garden.calendar.start(self.season)
        days = [w.latest for w in self.done("repotting")]
        last = self.tree.last_repot
        if last is not None and start <= last < self.day:
            days.append(last)
        return max(days, default=None)

    @cached_property
    def grown_since_repotting(self) -> bool:
        """Whether a look after this season's repotting shows shoots growing."""
        return self.repotted_on is not None and any(
            k.earliest > self.repotted_on and stage_rank(k.stage) >= stage_rank("extending")
            for k in self.garden.looks_by_tree.get(self.tree.id, [])
            if k.latest <= self.day
        )

    @cached_property
    def own_words(self) -> str:
        """The words of the note and of the last days' looks, in lower case."""
        since = self.day - timedelta(days=NOTE_DAYS)
        looks = self.garden.noted_looks.get(self.tree.id, [])
        notes = [look.note for look in looks if look.note and since <= look.latest <= self.day]
        return " ".join([self.note, *notes]).casefold()

    def says(self, words: tuple[str, ...]) -> bool:
        """Whether the grower's own words of these days name something."""
        return names(self.own_words, words)

    @cached_property
    def vigour(self) -> Vigour:
        """How strong the grower calls the tree and its zones."""
        return read_vigour(self.tree.vigour)

    @property
    def zone(self) -> str | None:
        """The zone that is worked on; None for the whole tree."""
        return zone_of(self.part)

    @property
    def weak(self) -> bool:
        """Whether the grower calls the tree, or the outer canopy that is worked, weak, sick or collected."""
        return "weak" in (self.vigour.whole, self.vigour.zones.get("outer"))

    @property
    def strong(self) -> bool:
        """Whether the grower calls the whole tree strong, and no zone of it weak."""
        return self.vigour.whole == "strong" and "weak" not in self.vigour.zones.values()

    @property
    def old(self) -> bool:
        """Whether the grower calls the tree old."""
        return is_old(self.tree.vigour, self.tree.note)

    @property
    def required(self) -> float:
        """The odds that woken growth must have of ripening."""
        return self.garden.limits.required(self.old)

    @property
    def late_summer(self) -> int:
        """Day of the season from which next year's flower buds are taken to be set: midsummer's warmth."""
        if self.late is not None:
            return self.late.summer
        longest = self.garden.longest_day
        return self.garden.calendar.length(self.season) if longest is None else longest + MIDSUMMER_DAYS

    @property
    def buds_set(self) -> bool:
        """Whether next year's flower buds are taken to be set."""
        return self.t > self.late_summer

    @property
    def grade(self) -> str | None:
        """How late it is for growth woken on the day: see `grades`, or "rests"; None where nobody knows."""
        return None if self.late is None else self.late.grade(self.t, self.required)

    @cached_property
    def early_guess(self) -> bool:
        """Whether the odds rest on the catalogue alone, and it is the first half of the growing season."""
        return self.late is not None and self.late.guess and self.t <= self.late_summer

    @cached_property
    def flowers(self) -> str | None:
        """What the newest look of the season that speaks of flowers says: "flowering" or "faded"."""
        looks = [look for look in self.garden.noted_looks.get(self.tree.id, []) if look.latest <= self.day]
        for look in sorted(looks, key=lambda look: look.latest, reverse=True):
            if self.garden.calendar.season_of(look.latest) != self.season:
                return None
            for said, words in (("faded", FADED), ("flowering", FLOWERING)):
                if names(look.note or "", words):
                    return said
        return None

    @property
    def after_bloom(self) -> bool:
        """Whether a tree that is shaped at bloom's end has faded, and next year's buds are not set."""
        s = self.species
        return s.bloom_led and s.blooms != "autumn" and self.flowers == "faded" and not self.buds_set

    @property
    def since_midwinter(self) -> int | None:
        """Days since the shortest day; None near the equator."""
        longest = self.garden.longest_day
        return None if longest is None else (self.t - longest - 183) % 365

    @property
    def year(self) -> YearState:
        """Where the tree stands in its year."""
        return YearState(
            self.stage,
            self.since_midwinter,
            self.flowers,
            self.buds_set,
            self.nights_warm,
            self.species.blooms,
        )

    @cached_property
    def nights_warm(self) -> bool | None:
        """Whether the nights of the last days were warm enough for tropical trees; None where unknown."""
        nights = self.nights()
        return None if nights is None else nights >= self.garden.limits.warm_night_c

    def situation(self) -> Situation:
        """What a choice of technique looks at, for the zone that is worked on, by default the outer one."""
        h = self.history
        first = h is None or (h.number == 1 and h.woken is None)
        return Situation(
            self.species,
            1 if first or h is None else max(2, h.number),
            self.stage,
            self.zone or "outer",
            self.vigour,
            self.garden.aim_of(self.tree),
            tuple(self._done(0)) + tuple(self._done(1)),
            self.repotted_on is not None,
            self.grade,
            self.early_guess,
            self.flowers,
            self.buds_set,
            self.nights_warm,
            self.grown_for,
            h.checked if h is not None else False,
        )

    def _done(self, seasons_ago: int) -> Iterator[Done]:
        began = self.history.flush.started_on if self.history else None
        joined = timedelta(days=HALVING_JOINS)
        for w in self.done(seasons_ago=seasons_ago):
            since = began if began is None or w.operation != "halving" else began + joined
            here = not seasons_ago and (since is None or w.latest > since)
            yield Done(w.operation, (self.day - w.latest).days, seasons_ago, here)

    @property
    def grown_for(self) -> str:
        """Leaf, flower or fruit."""
        return self.tree.grown_for or self.species.grown_for

    @cached_property
    def weather(self) -> DailyWeather | None:
        """The weather of the tree's place, forecast days included."""
        series = self.garden.weather.get(self.place.id)
        return series if series is not None and len(series.tmin) else None

    def ahead(self, days: int) -> Iterator[tuple[date, float, float]]:
        """Day, minimum and maximum of the coming days that the weather knows."""
        if self.weather is None:
            return
        first = (self.day - self.weather.first_day).days
        for k in range(max(first, 0), min(first + days + 1, len(self.weather.tmin))):
            low, high = float(self.weather.tmin[k]), float(self.weather.tmax[k])
            if np.isfinite(low) and np.isfinite(high):
                yield self.weather.first_day + timedelta(days=k), low, high

    def nights(self, days: int = 7) -> float | None:
        """Mean minimum of the last days. [degC]"""
        if self.weather is None:
            return None
        until = (self.day - self.weather.first_day).days + 1
        known = self.weather.tmin[max(0, until - days) : max(0, until)]
        known = known[np.isfinite(known)]
        return float(known.mean()) if len(known) else None

    def away(self, days: int) -> tuple[date, date] | None:
        """The time within the coming days when nobody is home to water."""
        for interval in self.garden.limits.away:
            first, last = (date.fromisoformat(end) for end in interval.split("/"))
            if first <= self.day + timedelta(days=days) and last >= self.day:
                return first, last
        return None
