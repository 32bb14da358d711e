"""What the looks have taught, as DataFrames: calibration, clocks, past forecasts, habits, people."""

from __future__ import annotations

from collections.abc import Iterable
from operator import attrgetter
from typing import Any, NamedTuple

import pandas as pd

from phenology.heat.clocks import CLOCKS
from phenology.judging.past_forecasts import EVERY_DAYS
from phenology.learning.calibration import calibrate
from phenology.learning.classic import classic_rows
from phenology.learning.garden_leaves import GardenLeaves
from phenology.learning.observers import observer_lateness
from phenology.learning.transitions import Transition, all_transitions
from phenology.learning.work_habit import work_habits
from phenology.model.track_record import PastForecast, TrackRecord, first_hardenings
from reports.notebook.columns import names_columns
from reports.notebook.opened import Opened
from reports.output.calibration import COLUMNS as LEARNED
from reports.output.calibration import learned_table
from reports.table import Column, Table, attribute

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


class LearnedFrames(Opened):
    """Frames of what was learned."""

    @names_columns(LEARNED["rows"])
    def calibration(self, species: str | None = None) -> pd.DataFrame:
        """How long each step takes, and how much of that is still the catalogue's.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it; without it every species that has trees.

        Returns
        -------
        DataFrame, one row a species and step
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.calibration("trident")[["from", "to", "seasons", "catalogue_days_at_18c"]]
               from        to  seasons  catalogue_days_at_18c
        0     start  budbreak        5                   13.0
        1      work  budbreak        4                   21.0
        2  budbreak  extended        5                   26.0
        3  extended  hardened        4                   16.0
        """
        return _frame("rows", calibrate(self.fit, self._latin(species)))

    @names_columns(CLOCK_SHARES)
    def clock_shares(self) -> pd.DataFrame:
        """What keeps time in each step: the rival clocks, before and after the looks have spoken.

        Returns
        -------
        DataFrame, one row a step and clock
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
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
        return Table("", CLOCK_SHARES, rows).as_frame()

    @names_columns(LEARNED["past_forecasts"])
    def skill(self) -> pd.DataFrame:
        """How far forecasts of past seasons would have missed hardening, each made without its own season.

        Returns
        -------
        DataFrame, one row a species with two finished seasons
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.skill()[["species", "seasons", "missed_days", "usual_date_missed_days"]].round(0).head(2)
                        species  seasons  missed_days  usual_date_missed_days
        0  Rhododendron indicum        4          6.0                    12.0
        1         Fagus crenata        4          5.0                     9.0
        """
        records = TrackRecord.of(self._past_forecasts(None)).values()
        return _frame("past_forecasts", [one for one in records if one.trees])

    def past_forecasts(self, species: str | None = None, every: int = EVERY_DAYS) -> pd.DataFrame:
        """Every past hardening of a first flush forecast again, week after week, without its own season.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it; without it every species with two seasons.
        every : int
            Days between the forecasts of one flush. [d]

        Returns
        -------
        DataFrame, one row a forecast
            ``label``, ``species``, ``season``; ``issued`` (date); ``p10``, ``p50``, ``p90`` (dates) and the
            same as decimal days of the season in ``p10_day``, ``p50_day``, ``p90_day``; ``after``, ``by``:
            the looks between which it came (dates); ``lead_days`` from issue to event; ``error_days``:
            median less event, late is positive; ``held``: whether the 80 % range held it; ``chance`` that
            the forecast gave it by then.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.past_forecasts("elm").groupby("season")[["lead_days", "error_days"]].mean().round(0)
                lead_days  error_days
        season
        2022         20.0         9.0
        2023         19.0         1.0
        2024         29.0        -3.0
        2025         18.0         5.0
        """
        labels = {t.id: t.label for t in self.snapshot.trees}

        def day(name: str) -> tuple[Column[PastForecast], Column[PastForecast]]:
            at = attrgetter(name.replace("p", "q"))
            return (
                Column(name, "date", lambda one: self._date(one.season, at(one))),
                Column(f"{name}_day", "number", at),
            )

        (p10, p10_day), (p50, p50_day), (p90, p90_day) = map(day, ("p10", "p50", "p90"))
        columns: tuple[Column[Any], ...] = (
            Column("label", "text", lambda one: labels[one.tree]),
            attribute("species", "text"),
            attribute("season", "season"),
            Column("issued", "date", lambda one: self._date(one.season, one.issued)),
            *(p10, p50, p90, p10_day, p50_day, p90_day),
            Column("after", "date", lambda one: self._date(one.season, one.after)),
            Column("by", "date", lambda one: self._date(one.season, one.by)),
            attribute("lead_days", "number", of="lead"),
            attribute("error_days", "number", of="error"),
            Column("held", "yes", lambda one: one.q10 <= one.middle <= one.q90),
            attribute("chance", "number"),
        )
        past = first_hardenings(self._past_forecasts(species, every))
        return Table("", columns, past).as_frame()

    @names_columns(LEARNED["classic"])
    def classic(self, species: str | None = None) -> pd.DataFrame:
        """Base temperatures by four textbook methods, for comparison only: forecasts do not use them.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it.

        Returns
        -------
        DataFrame, one row a species, step and method
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.classic("elm")[["from", "to", "method", "base_c", "requirement_c_days"]].round(1).head(2)
            from        to   method  base_c  requirement_c_days
        0  start  budbreak   sd_gdd    -5.6               838.7
        1  start  budbreak  sd_days    -8.2              1083.8
        """
        return _frame("classic", classic_rows(self.fit, self._latin(species)))

    @names_columns(LEARNED["leaf_counts"])
    def leaf_counts(self, species: str | None = None) -> pd.DataFrame:
        """What leaf counts have taught: how fast leaves come, and how many there will be.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it.

        Returns
        -------
        DataFrame, one row a species with counts
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> len(garden.leaf_counts())  # the invented grower counts no leaves
        0
        """
        return _frame("leaf_counts", GardenLeaves(self.fit).habits(self._latin(species)))

    @names_columns(LEARNED["work_habits"])
    def habits(self) -> pd.DataFrame:
        """Species whose hardening is known from work alone, all of it on the same days of the week.

        Returns
        -------
        DataFrame, one row a species and flush; often none
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> len(garden.habits())  # the invented grower looks before cutting
        0
        """
        return _frame("work_habits", work_habits(self.fit.histories, self.snapshot.calendar))

    @names_columns(OBSERVERS)
    def observers(self, stage: str = "hardened") -> pd.DataFrame:
        """Who calls a stage later than whom, on flushes that both followed.

        Parameters
        ----------
        stage : str

        Returns
        -------
        DataFrame, one row a pair of people
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> len(garden.observers())  # the invented garden has one pair of eyes
        0
        """
        return Table("", OBSERVERS, observer_lateness(self.snapshot, stage)).as_frame()


def _frame(name: str, rows: Iterable[Any]) -> pd.DataFrame:
    return learned_table(name, rows).as_frame()
