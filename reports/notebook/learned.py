"""What the looks have taught, as DataFrames: calibration, clocks, past forecasts, habits, people."""

from __future__ import annotations

import math
from typing import Any

import pandas as pd

from phenology.heat.clocks import CLOCKS
from phenology.judging.past_forecasts import EVERY_DAYS
from phenology.learning.calibration import calibrate
from phenology.learning.classic_garden import classic_rows
from phenology.learning.garden_leaves import GardenLeaves
from phenology.learning.observers import observer_lateness
from phenology.learning.transitions import all_transitions
from phenology.learning.work_habit import work_habits
from phenology.model.track_record import PastForecast, TrackRecord, first_hardenings
from reports.notebook.columns import Columns, table
from reports.notebook.opened import Opened

CALIBRATION: Columns = {
    "species": "text", "from": "text", "to": "text", "looks": "whole", "seasons": "whole",
    "unfinished": "whole", "days_at_18c": "number", "days_at_18c_p10": "number", "days_at_18c_p90": "number",
    "catalogue_days_at_18c": "number", "expected_error_days_at_18c": "number", "prior_share": "number",
    "clock": "text", "clock_share": "number",
}  # fmt: skip
CLOCK_SHARES: Columns = {
    "from": "text", "to": "text", "clock": "text", "prior": "number", "share": "number", "waits": "whole",
}  # fmt: skip
SKILL: Columns = {
    "species": "text", "from": "text", "to": "text", "seasons": "whole", "tree_seasons": "whole",
    "missed_days": "number", "usual_date_missed_days": "number", "weather_helps": "yes",
}  # fmt: skip
PAST: Columns = {
    "label": "text", "species": "text", "season": "whole", "issued": "date", "p10": "date", "p50": "date",
    "p90": "date", "p10_day": "number", "p50_day": "number", "p90_day": "number", "after": "date",
    "by": "date", "lead_days": "number", "error_days": "number", "held": "yes", "chance": "number",
}  # fmt: skip
CLASSIC: Columns = {
    "species": "text", "from": "text", "to": "text", "method": "text", "waits": "whole", "seasons": "whole",
    "base_c": "number", "base_c_low95": "number", "base_c_high95": "number", "requirement_c_days": "number",
    "requirement_c_days_low95": "number", "requirement_c_days_high95": "number", "why_not": "text",
}  # fmt: skip
HABITS: Columns = {
    "species": "text", "flush": "whole", "seasons": "whole", "weekday": "text", "same_week": "yes",
    "first_day": "date", "last_day": "date", "words": "text",
}  # fmt: skip
OBSERVERS: Columns = {
    "stage": "text", "first": "text", "second": "text", "flushes": "whole", "later_days": "number",
    "later_days_p10": "number", "later_days_p90": "number", "clear": "yes",
}  # fmt: skip
LEAF_COUNTS: Columns = {
    "species": "text", "flushes": "whole", "flushes_paced": "whole", "days_a_leaf_at_18c": "number",
    "days_a_leaf_at_18c_p10": "number", "days_a_leaf_at_18c_p90": "number", "leaves": "number",
    "leaves_p10": "number", "leaves_p90": "number", "degree_days_c_a_leaf": "number", "base_c": "number",
}  # fmt: skip


class Learned(Opened):
    """Frames of what was learned."""

    def calibration(self, species: str | None = None) -> pd.DataFrame:
        """How long each step takes, and how much of that is still the catalogue's.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it; without it every species that has trees.

        Returns
        -------
        DataFrame, one row a species and step
            ``species``; ``from`` (`start` of the season, `work`, or a stage) and ``to``; ``looks`` at the
            species, ``seasons`` with the step seen to its end, ``unfinished`` waits; ``days_at_18c``: median
            requirement of an average tree and season, and the interval of that average in
            ``days_at_18c_p10``, ``days_at_18c_p90``; ``catalogue_days_at_18c``;
            ``expected_error_days_at_18c`` of a forecast made when the step begins [days at a steady 18 °C];
            ``prior_share`` (0 to 1); ``clock`` that explains most, and its ``clock_share`` (0 to 1).

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
        return table(
            (
                {
                    "species": c.species, "from": c.transition.start, "to": c.transition.target,
                    "looks": c.looks, "seasons": c.seasons, "unfinished": c.unfinished,
                    "days_at_18c": c.days[0], "days_at_18c_p10": c.days[1], "days_at_18c_p90": c.days[2],
                    "catalogue_days_at_18c": c.prior_days, "expected_error_days_at_18c": c.error_days,
                    "prior_share": c.prior_share, "clock": c.clock, "clock_share": c.clock_share,
                }
                for c in calibrate(self.fit, self._latin(species))
            ),
            CALIBRATION,
        )  # fmt: skip

    def clock_shares(self) -> pd.DataFrame:
        """What keeps time in each step: the rival clocks, before and after the looks have spoken.

        Returns
        -------
        DataFrame, one row a step and clock
            ``from``, ``to``, ``clock``; ``prior`` and ``share`` (each sums to 1 over a step's clocks);
            ``waits`` that the step rests on.

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
        rows = []
        for step in all_transitions():
            waits = self.fit.waits(step)
            if len(step.links()) > 1 or not waits:
                continue
            prior = self.fit.model(step).clock_weights
            shares = self.fit.requirement(step).clock_shares
            rows += [
                {
                    "from": step.start, "to": step.target, "clock": clock.name, "prior": before,
                    "share": after, "waits": len(waits),
                }
                for clock, before, after in zip(CLOCKS, prior, shares, strict=True)
            ]  # fmt: skip
        return table(rows, CLOCK_SHARES)

    def skill(self) -> pd.DataFrame:
        """How far forecasts of past seasons would have missed hardening, each made without its own season.

        Returns
        -------
        DataFrame, one row a species with two finished seasons
            ``species``; ``from``, ``to``: the wait forecast; ``seasons``, ``tree_seasons``; ``missed_days``
            and ``usual_date_missed_days``: mean distance of the median, and of the usual date, from what was
            seen; ``weather_helps``: whether the forecast came closer.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.skill()[["species", "seasons", "missed_days", "usual_date_missed_days"]].round(0).head(2)
                        species  seasons  missed_days  usual_date_missed_days
        0  Rhododendron indicum        4          7.0                    12.0
        1         Fagus crenata        4          5.0                     9.0
        """
        return table(
            (
                {
                    "species": s.species, "from": s.given, "to": "hardened",
                    "seasons": s.seasons, "tree_seasons": s.trees, "missed_days": s.missed,
                    "usual_date_missed_days": s.usual_missed, "weather_helps": s.weather_helps,
                }
                for s in TrackRecord.of(self._past_forecasts(None)).values()
                if s.trees
            ),
            SKILL,
        )  # fmt: skip

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
        2022         22.0         9.0
        2023         30.0        -2.0
        2024         35.0        -2.0
        2025         27.0         6.0
        2026         32.0        -4.0
        """
        labels = {t.id: t.label for t in self.snapshot.trees}
        past = first_hardenings(self._past_forecasts(species, every))
        return table((self._past_row(one, labels[one.tree]) for one in past), PAST)

    def _past_row(self, one: PastForecast, label: str) -> dict[str, Any]:
        season = one.season
        return {
            "label": label, "species": one.species, "season": season,
            "issued": self._date(season, one.issued), "p10": self._date(season, one.q10),
            "p50": self._date(season, one.q50), "p90": self._date(season, one.q90), "p10_day": one.q10,
            "p50_day": one.q50, "p90_day": one.q90, "after": self._date(season, one.after),
            "by": self._date(season, one.by), "lead_days": one.lead, "error_days": one.error,
            "held": one.q10 <= one.middle <= one.q90, "chance": one.chance,
        }  # fmt: skip

    def classic(self, species: str | None = None) -> pd.DataFrame:
        """Base temperatures by four textbook methods, for comparison only: forecasts do not use them.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it.

        Returns
        -------
        DataFrame, one row a species, step and method
            ``species``, ``from``, ``to``, ``method``; ``waits``, ``seasons``; ``base_c`` [°C] and
            ``requirement_c_days`` [°C·d], for the last method with 95 % intervals of the average relation in
            ``base_c_low95``, ``base_c_high95``, ``requirement_c_days_low95``,
            ``requirement_c_days_high95`` (infinite where the records set no limit); ``why_not``, where there
            is no estimate.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.classic("elm")[["from", "to", "method", "base_c", "requirement_c_days"]].round(1).head(2)
            from        to   method  base_c  requirement_c_days
        0  start  budbreak   sd_gdd    -5.6               838.7
        1  start  budbreak  sd_days    -8.2              1083.8
        """
        rows = []
        for row in classic_rows(self.fit, self._latin(species)):
            known = {
                "species": row.species, "from": row.transition.start, "to": row.transition.target,
                "waits": row.waits, "seasons": row.seasons, "why_not": row.why_not or None,
            }  # fmt: skip
            if not row.results:
                rows.append({**dict.fromkeys(CLASSIC), **known})
            for r in row.results:
                (base_low, base_high), (low, high) = (
                    interval or (math.nan, math.nan) for interval in (r.base_interval, r.requirement_interval)
                )
                rows.append({
                    **known, "method": r.method, "base_c": r.base, "base_c_low95": base_low,
                    "base_c_high95": base_high, "requirement_c_days": r.requirement,
                    "requirement_c_days_low95": low, "requirement_c_days_high95": high,
                })  # fmt: skip
        return table(rows, CLASSIC)

    def leaf_counts(self, species: str | None = None) -> pd.DataFrame:
        """What leaf counts have taught: how fast leaves come, and how many there will be.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it.

        Returns
        -------
        DataFrame, one row a species with counts
            ``species``; ``flushes`` with counts, ``flushes_paced`` counted while they grew;
            ``days_a_leaf_at_18c`` of an average first flush and its 80 % interval
            ``days_a_leaf_at_18c_p10``, ``days_a_leaf_at_18c_p90`` [days at a steady 18 °C]; ``leaves`` to
            extended, and theirs ``leaves_p10``, ``leaves_p90``; ``degree_days_c_a_leaf`` above ``base_c``
            [°C·d, °C].

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> len(garden.leaf_counts())  # the invented grower counts no leaves
        0
        """
        return table(
            (
                {
                    "species": h.species, "flushes": h.flushes, "flushes_paced": h.paced,
                    "days_a_leaf_at_18c": h.days_a_leaf[0], "days_a_leaf_at_18c_p10": h.days_a_leaf[1],
                    "days_a_leaf_at_18c_p90": h.days_a_leaf[2], "leaves": h.leaves[0],
                    "leaves_p10": h.leaves[1], "leaves_p90": h.leaves[2],
                    "degree_days_c_a_leaf": h.degree_days_a_leaf, "base_c": h.base,
                }
                for h in GardenLeaves(self.fit).habits(self._latin(species))
            ),
            LEAF_COUNTS,
        )  # fmt: skip

    def habits(self) -> pd.DataFrame:
        """Species whose hardening is known from work alone, all of it on the same days of the week.

        Returns
        -------
        DataFrame, one row a species and flush; often none
            ``species``, ``flush``, ``seasons``, ``weekday``; ``same_week`` of every year; ``first_day``,
            ``last_day`` of that work (dates); ``words``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> len(garden.habits())  # the invented grower looks before cutting
        0
        """
        return table(
            (
                {
                    "species": h.species, "flush": h.flush, "seasons": h.seasons, "weekday": h.weekday,
                    "same_week": h.same_week, "first_day": h.days[0], "last_day": h.days[-1],
                    "words": h.words,
                }
                for h in work_habits(self.fit.histories, self.snapshot.calendar)
            ),
            HABITS,
        )  # fmt: skip

    def observers(self, stage: str = "hardened") -> pd.DataFrame:
        """Who calls a stage later than whom, on flushes that both followed.

        Parameters
        ----------
        stage : str

        Returns
        -------
        DataFrame, one row a pair of people
            ``stage``; ``first`` and ``second``, who is later; ``flushes`` seen by both; ``later_days``
            (median) and its 80 % range ``later_days_p10``, ``later_days_p90``; ``clear``: whether that leaves
            out no difference at all.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> len(garden.observers())  # the invented garden has one pair of eyes
        0
        """
        return table(
            (
                {
                    "stage": o.stage, "first": o.first, "second": o.second, "flushes": o.flushes,
                    "later_days": o.days, "later_days_p10": o.low, "later_days_p90": o.high,
                    "clear": o.clear,
                }
                for o in observer_lateness(self.snapshot, stage)
            ),
            OBSERVERS,
        )  # fmt: skip
