"""Seasons side by side, what followed work, and trends, as DataFrames."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import pandas as pd

from phenology.judging.season_truth import season_truth
from phenology.learning.transitions import TARGETS
from phenology.seasons.compare import Comparison, compare_seasons, stage_day
from phenology.seasons.followed import what_followed
from phenology.seasons.tree_stages import tree_stage_date, tree_stages
from phenology.seasons.trends import garden_trends
from reports.notebook.columns import DAY, Columns, table
from reports.notebook.opened import Opened

SEASONS: Columns = {
    "season": "whole", "through": "date", "degree_days_c": "number", "rank": "whole", "rank_ever": "whole",
    "seasons_ever": "whole", "days_ahead": "number", "filled_days": "whole",
}  # fmt: skip
STAGES: Columns = {
    "species": "text", "flush": "whole", "stage": "text", "season": "whole", "date": "date", "day": "number",
    "trees": "whole", "days_ahead": "number", "degree_days_c": "number", "since": "text",
    "degree_days_since_c": "number",
}  # fmt: skip
TREE_STAGES: Columns = {
    "label": "text", "species": "text", "flush": "whole", "stage": "text", "season": "whole", "date": "date",
    "day": "number", "days_ahead": "number", "degree_days_c": "number", "since": "text",
    "degree_days_since_c": "number", "tree_id": "text",
}  # fmt: skip
FOLLOWED: Columns = {
    "species": "text", "operation": "text", "times": "whole", "seasons": "whole", "flushed": "whole",
    **{
        f"{stage}_{what}": "whole" if what == "n" else "number"
        for stage in TARGETS
        for what in ("n", "days_median", "days_least", "days_most")
    },
}  # fmt: skip
TRENDS: Columns = {
    "what": "text", "species": "text", "seasons": "whole", "first_season": "whole", "last_season": "whole",
    "days_per_decade": "number", "days_per_decade_low95": "number", "days_per_decade_high95": "number",
}  # fmt: skip
TRUTH: Columns = {
    "season": "whole", "flushes": "whole", "forecasts": "whole", "missed_days": "number",
    "late_days": "number", "missed_near_days": "number", "usual_date_missed_days": "number",
    "held": "number",
}  # fmt: skip


class SeasonFrames(Opened):
    """Frames of seasons beside each other."""

    def seasons(self, seasons: Sequence[int] | None = None) -> pd.DataFrame:
        """How warm seasons were up to the same day of each: today's.

        Parameters
        ----------
        seasons : sequence of int, optional
            The years they start in; by default the one under way and up to five before it.

        Returns
        -------
        DataFrame, one row a season
            ``season``; ``through`` (date); ``degree_days_c`` above 5 °C from the season's start [°C·d];
            ``rank``, 1 for the warmest of those shown, ``rank_ever`` among all ``seasons_ever`` on record;
            ``days_ahead`` (+) of or behind (-) the mean of the others (missing with fewer than three, or in
            winter); ``filled_days``: days that the weather lacks.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.seasons([2024, 2025, 2026])[["season", "degree_days_c", "rank", "days_ahead"]].round(1)
           season  degree_days_c  rank  days_ahead
        0    2024          695.4     3        -2.5
        1    2025          914.8     1        13.6
        2    2026          804.8     2         5.5
        """
        garden = self.snapshot
        return table(
            (
                {
                    "season": h.season, "through": garden.calendar.date(h.season, h.through),
                    "degree_days_c": h.heat, "rank": h.rank, "rank_ever": h.rank_ever,
                    "seasons_ever": h.ever, "days_ahead": h.ahead, "filled_days": h.filled,
                }
                for h in self._compared(seasons).heat
            ),
            SEASONS,
        )  # fmt: skip

    def days_ahead(self, season: int | None = None) -> pd.DataFrame:
        """A season against the mean of the others, day by day, at the first place.

        Parameters
        ----------
        season : int, optional
            The year it starts in; the one under way without it.

        Returns
        -------
        DataFrame, one row a day, up to today in the season under way; `DatetimeIndex` named ``date``
            ``day`` of the season; ``sum_degree_days_c`` above 5 °C from its start [°C·d]; ``days_ahead`` (+)
            of or behind (-) usual (NaN with too few seasons, or while too little warmth gathers to tell).

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.days_ahead().tail(2).round(1)
                    day  sum_degree_days_c  days_ahead
        date
        2026-06-13  164              789.6         5.4
        2026-06-14  165              804.8         5.5
        """
        wanted = self.snapshot.season if season is None else season
        heat, ahead = self._compared([wanted]).courses[wanted]
        start, count = pd.Timestamp(self.snapshot.calendar.start(wanted)), len(heat) - 1
        days = pd.DatetimeIndex(pd.date_range(start, periods=count).astype(DAY), freq="D", name="date")
        columns = {"day": range(1, count + 1), "sum_degree_days_c": heat[1:], "days_ahead": ahead[1:]}
        return pd.DataFrame(columns, index=days)

    def stages(self, seasons: Sequence[int] | None = None) -> pd.DataFrame:
        """When each species reached each stage: the middle of what its trees' looks say.

        Parameters
        ----------
        seasons : sequence of int, optional
            As `seasons`.

        Returns
        -------
        DataFrame, one row a species, flush, stage and season
            ``species``, ``flush``, ``stage``, ``season``; ``date``, and ``day`` of the season (decimal);
            ``trees`` it is the mean of; ``days_ahead`` (+) of or behind (-) the mean of the other seasons
            (missing with fewer than three); ``degree_days_c`` above 5 °C from the season's start [°C·d];
            ``since`` which event, and ``degree_days_since_c`` from it [°C·d].

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> stages = garden.stages([2025]).round({"degree_days_c": 0})
        >>> stages[["species", "stage", "flush", "date", "degree_days_c"]].head(2)
                    species     stage  flush       date  degree_days_c
        0  Ulmus parvifolia  budbreak      1 2025-04-05          122.0
        1  Ulmus parvifolia  extended      1 2025-05-12          441.0
        """
        return table(
            (
                {
                    "species": s.species, "flush": s.flush, "stage": s.stage, "season": s.season,
                    "date": stage_day(s, self.snapshot), "day": s.day, "trees": s.trees,
                    "days_ahead": s.ahead, "degree_days_c": s.heat, "since": s.since or None,
                    "degree_days_since_c": s.own_heat,
                }
                for s in self._compared(seasons).stages
            ),
            STAGES,
        )  # fmt: skip

    def tree_stages(self) -> pd.DataFrame:
        """The same tree by tree, of all seasons: stages that looks stand on both sides of.

        Returns
        -------
        DataFrame, one row a tree, flush, stage and season
            ``label``, ``species``, ``flush``, ``stage``, ``season``; ``date``, ``day`` (decimal) of the
            middle; ``days_ahead`` of the same tree's other seasons; ``degree_days_c`` above 5 °C from the
            season's start where the tree stood [°C·d]; ``since`` which event, and ``degree_days_since_c``
            from it [°C·d]; ``tree_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.tree_stages().query("stage == 'hardened'").groupby("season")["day"].mean().round(1)
        season
        2022    203.0
        2023    209.2
        2024    205.4
        2025    201.2
        2026    154.3
        Name: day, dtype: float64
        """
        return table(
            (
                {
                    "label": s.tree.label, "species": s.tree.species, "flush": s.flush, "stage": s.stage,
                    "season": s.season, "date": tree_stage_date(s, self.snapshot), "day": s.day,
                    "days_ahead": s.ahead, "degree_days_c": s.heat, "since": s.since or None,
                    "degree_days_since_c": s.own_heat, "tree_id": s.tree.id,
                }
                for s in tree_stages(self.snapshot)
            ),
            TREE_STAGES,
        )  # fmt: skip

    def followed(self, seasons: Iterable[int] | None = None) -> pd.DataFrame:
        """Work and what followed: days from work that wakes to each stage of the flush it woke.

        Parameters
        ----------
        seasons : iterable of int, optional
            Only work of these; without it of all.

        Returns
        -------
        DataFrame, one row a species and operation
            ``species``, ``operation``; ``times`` done, in how many ``seasons``; ``flushed``: times after
            which new growth was seen; and for each stage how often it was seen to come and the days from
            the work, median, least and most: ``budbreak_n``, ``budbreak_days_median``,
            ``budbreak_days_least``, ``budbreak_days_most``, ``extended_n``, ``extended_days_median``,
            ``extended_days_least``, ``extended_days_most``, ``hardened_n``, ``hardened_days_median``,
            ``hardened_days_least``, ``hardened_days_most``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.followed()[["operation", "times", "budbreak_days_median"]].round(0).head(2)
          operation  times  budbreak_days_median
        0   cutback      4                  23.0
        1   cutback      7                  22.0
        """
        rows = []
        for f in what_followed(self.snapshot, None if seasons is None else set(seasons)):
            row = {
                "species": f.species, "operation": f.operation, "times": f.works, "seasons": f.seasons,
                "flushed": f.flushed,
            }  # fmt: skip
            for stage in TARGETS:
                count, middle, least, most = f.days.get(stage, (0, None, None, None))
                row |= {
                    f"{stage}_n": count, f"{stage}_days_median": middle,
                    f"{stage}_days_least": least, f"{stage}_days_most": most,
                }  # fmt: skip
            rows.append(row)
        return table(rows, FOLLOWED)

    def trends(self) -> pd.DataFrame:
        """How dates have moved over the years; with fewer than ten seasons nothing is said.

        Returns
        -------
        DataFrame, one row a thing whose date may move
            ``what``: `warmth` (the date by which what is usual by today had gathered; in winter `half the
            warmth` of a usual season), `last frost`, `first frost`, or a stage of first flushes; ``species``
            (missing for weather); ``seasons`` that have it, ``first_season``, ``last_season``;
            ``days_per_decade`` later (+) or earlier (-), and its 95 % interval ``days_per_decade_low95``,
            ``days_per_decade_high95`` (missing with too few seasons).

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.trends()["what"].head(3).tolist()
        ['warmth', 'last frost', 'first frost']
        """
        return table(
            (
                {
                    "what": t.what, "species": t.species or None, "seasons": t.seasons,
                    "first_season": t.first, "last_season": t.last, "days_per_decade": t.per_decade,
                    "days_per_decade_low95": t.low, "days_per_decade_high95": t.high,
                }
                for t in garden_trends(self.snapshot)
            ),
            TRENDS,
        )  # fmt: skip

    def season_skill(self, species: str | None = None) -> pd.DataFrame:
        """Forecasts of each past season against what came, each made without that season.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it; without it all.

        Returns
        -------
        DataFrame, one row a season
            ``season``, ``flushes``, ``forecasts``; medians over its flushes: ``missed_days`` of the forecast
            issued when the wait began, ``late_days`` (the same with its sign: early is negative),
            ``missed_near_days`` of those issued in the last three weeks, ``usual_date_missed_days`` of the
            mean date of the other seasons; ``held``: share of 80 % ranges that held it (0 to 1).

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.season_skill("elm")[["season", "missed_days", "usual_date_missed_days"]].round(0)
           season  missed_days  usual_date_missed_days
        0    2022          9.0                    11.0
        1    2023          6.0                    12.0
        2    2024          4.0                     6.0
        3    2025          8.0                    10.0
        4    2026          6.0                     3.0
        """
        return table(
            (
                {
                    "season": s.season, "flushes": s.flushes, "forecasts": s.forecasts,
                    "missed_days": s.missed, "late_days": s.late, "missed_near_days": s.missed_near,
                    "usual_date_missed_days": s.usual_missed, "held": s.held,
                }
                for s in season_truth(self._past_forecasts(species))
            ),
            TRUTH,
        )  # fmt: skip

    def _compared(self, seasons: Sequence[int] | None) -> Comparison:
        return compare_seasons(self.snapshot, None if seasons is None else list(seasons))
