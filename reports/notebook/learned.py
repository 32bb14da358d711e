"""What the looks have taught, as DataFrames: calibration, clocks, past forecasts, habits, people."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date
from typing import Any, NamedTuple

from phenology.heat.clocks import CLOCKS
from phenology.judging.past_forecasts import EVERY_DAYS
from phenology.learning.calibration import calibrate
from phenology.learning.classic import classic_rows
from phenology.learning.garden_leaves import GardenLeaves
from phenology.learning.observers import observer_lateness
from phenology.learning.transitions import Transition, all_transitions
from phenology.learning.work_habit import work_habits
from phenology.model.season import SeasonCalendar
from phenology.model.track_record import PastForecast, TrackRecord, first_hardenings
from reports.notebook.opened import Opened, framed
from reports.table import Column, attribute
from reports.views.calibration_text import COLUMNS as LEARNED

LEVELS = (10, 50, 90)
CLOCK_SHARES = (
    attribute("from", "text", of="step.start"),
    attribute("to", "text", of="step.target"),
    attribute("clock", "text"),
    attribute("prior", "number", "before the looks have spoken; sums to 1 over a step's clocks"),
    attribute("share", "number", "after"),
    attribute("waits", "whole", "that the step rests on"),
)
OBSERVERS = (
    attribute("stage", "text"),
    attribute("first", "text"),
    attribute("second", "text", "who is later"),
    attribute("flushes", "whole", "seen by both"),
    attribute("later_days", "number", "median", of="days"),
    attribute("later_days_p10", "number", "its 80 % range", of="low"),
    attribute("later_days_p90", "number", of="high"),
    attribute("clear", "yes", "whether that leaves out no difference at all"),
)


class ClockShare(NamedTuple):
    """How much one clock is believed in a step, before and after the looks have spoken."""

    step: Transition
    clock: str
    prior: float
    share: float
    waits: int


class PastRow(NamedTuple):
    """A past forecast, the label of its tree, and the calendar that dates its days."""

    made: PastForecast
    label: str
    calendar: SeasonCalendar

    def day(self, of: str) -> date | None:
        """The date of one of its days of the season; None where that is unknown or never."""
        t = getattr(self.made, of)
        return self.calendar.date(self.made.season, t) if math.isfinite(t) else None


def _dated(name: str, of: str = "", meaning: str = "") -> Column[PastRow]:
    return Column(name, "date", lambda row: row.day(of or name), meaning)


PAST_FORECASTS: tuple[Column[PastRow], ...] = (
    attribute("label", "text"),
    attribute("species", "text", of="made.species"),
    attribute("season", "season", of="made.season"),
    _dated("issued"),
    *(_dated(f"p{level}", f"q{level}") for level in LEVELS),
    *(attribute(f"p{k}_day", "number", "the same as a decimal day", of=f"made.q{k}") for k in LEVELS),
    _dated("after", meaning="the looks between which it came"),
    _dated("by"),
    attribute("lead_days", "number", "from issue to event", of="made.lead"),
    attribute("error_days", "number", "median less event, late is positive", of="made.error"),
    Column("held", "yes", lambda r: r.made.q10 <= r.made.middle <= r.made.q90, "the 80 % range held it"),
    attribute("chance", "number", "that the forecast gave it by then", of="made.chance"),
)


class LearnedFrames(Opened):
    """Frames of what was learned."""

    @framed(LEARNED["rows"], "a species and step")
    def calibration(self, species: str | None = None) -> Iterable[Any]:
        """How long each step takes, and how much of that is still the catalogue's.

        >>> garden.calibration("trident")[["from", "to", "seasons", "catalogue_days_at_18c"]]
               from        to  seasons  catalogue_days_at_18c
        0     start  budbreak        5                   13.0
        1      work  budbreak        4                   21.0
        2  budbreak  extended        5                   26.0
        3  extended  hardened        4                   16.0
        """
        return calibrate(self.fit, self._latin(species))

    @framed(CLOCK_SHARES, "a step and clock")
    def clock_shares(self) -> Iterable[Any]:
        """What keeps time in each step: the rival clocks, before and after the looks have spoken.

        >>> garden.clock_shares().groupby(["from", "to"])["share"].sum().round(2)
        from      to
        budbreak  extended    1.0
        extended  hardened    1.0
        start     budbreak    1.0
        work      budbreak    1.0
        Name: share, dtype: float64
        """
        rows: list[ClockShare] = []
        for step in all_transitions():
            waits = self.fit.waits(step)
            if waits and len(step.links()) == 1:
                prior, shares = self.fit.model(step).clock_weights, self.fit.requirement(step).clock_shares
                rows += [
                    ClockShare(step, clock.name, float(before), float(after), len(waits))
                    for clock, before, after in zip(CLOCKS, prior, shares, strict=True)
                ]
        return rows

    @framed(LEARNED["past_forecasts"], "a species with two finished seasons")
    def skill(self) -> Iterable[Any]:
        """How far forecasts of past seasons would have missed hardening, each made without its own season.

        >>> garden.skill()[["species", "seasons", "missed_days", "usual_date_missed_days"]].round(0).head(2)
                        species  seasons  missed_days  usual_date_missed_days
        0  Rhododendron indicum        4          6.0                    12.0
        1         Fagus crenata        4          5.0                     9.0
        """
        records = TrackRecord.of(self._past_forecasts(None)).values()
        return [one for one in records if one.trees]

    @framed(PAST_FORECASTS, "a forecast")
    def past_forecasts(self, species: str | None = None, every: int = EVERY_DAYS) -> Iterable[PastRow]:
        """Every past hardening of a first flush forecast again, `every` so many days, without its own season.

        >>> garden.past_forecasts("elm").groupby("season")[["lead_days", "error_days"]].mean().round(0)
                lead_days  error_days
        season
        2022         20.0         9.0
        2023         19.0         1.0
        2024         29.0        -3.0
        2025         18.0         5.0
        """
        labels = {t.id: t.label for t in self.snapshot.trees}
        for one in first_hardenings(self._past_forecasts(species, every)):
            yield PastRow(one, labels[one.tree], self.snapshot.calendar)

    @framed(LEARNED["classic"], "a species, step and method")
    def classic(self, species: str | None = None) -> Iterable[Any]:
        """Base temperatures by four textbook methods, for comparison only: forecasts do not use them.

        >>> garden.classic("elm")[["from", "to", "method", "base_c", "requirement_c_days"]].round(1).head(2)
            from        to   method  base_c  requirement_c_days
        0  start  budbreak   sd_gdd    -5.6               838.7
        1  start  budbreak  sd_days    -8.2              1083.8
        """
        return classic_rows(self.fit, self._latin(species))

    @framed(LEARNED["leaf_counts"], "a species with counts")
    def leaf_counts(self, species: str | None = None) -> Iterable[Any]:
        """What leaf counts have taught: how fast leaves come, and how many there will be.

        >>> len(garden.leaf_counts())  # the invented grower counts no leaves
        0
        """
        return GardenLeaves(self.fit).habits(self._latin(species))

    @framed(LEARNED["work_habits"], "a species and flush; often none")
    def habits(self) -> Iterable[Any]:
        """Species whose hardening is known from work alone, all of it on the same days of the week.

        >>> len(garden.habits())  # the invented grower looks before cutting
        0
        """
        return work_habits(self.fit.histories, self.snapshot.calendar)

    @framed(OBSERVERS, "a pair of people")
    def observers(self, stage: str = "hardened") -> Iterable[Any]:
        """Who calls a stage later than whom, on flushes that both followed.

        >>> len(garden.observers())  # the invented garden has one pair of eyes
        0
        """
        return observer_lateness(self.snapshot, stage)
