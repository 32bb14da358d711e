"""What lies ahead, as DataFrames: forecast, chances, windows, last days, care, the round, what changed."""

from __future__ import annotations

from datetime import date

import pandas as pd

from phenology.advice.agenda import make_agenda
from phenology.advice.forecast_change import forecast_changes
from phenology.advice.round import plan_round
from phenology.advice.windows import windows
from reports.notebook.columns import names_columns
from reports.notebook.opened import Opened
from reports.output import ahead as tables


class Ahead(Opened):
    """Frames of what lies ahead; JSON and CSV of the commands are the same tables."""

    @names_columns(tables.AGENDA)
    def agenda(self) -> pd.DataFrame:
        """Every living tree once: today's first, then this week's, later ones, those to leave.

        Returns
        -------
        DataFrame, one row a tree
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.agenda()[["label", "section", "next", "p50", "last_safe"]].head(3)
                label section      next        p50  last_safe
        0       Beech   today  hardened 2026-06-16 2026-07-01
        1  Crab apple   today  hardened 2026-06-12 2026-07-24
        2  Hornbeam 2   today  hardened 2026-07-28 2026-07-28
        """
        return tables.agenda_table(make_agenda(self.outlook)).as_frame()

    @names_columns(tables.FORECAST)
    def forecast(self) -> pd.DataFrame:
        """The forecast, soonest first: what `flushcast forecast --json` tells, flat.

        Where weather is lacking, ``outlook.usual_warmth`` says what the dates rest on.

        Returns
        -------
        DataFrame, one row a tree, flush and stage ahead; quantiles are missing beyond 1 - ``p_not``
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.forecast()[["label", "stage", "look_on", "p10", "p90", "last_safe"]].head(3)
                label     stage    look_on        p10        p90  last_safe
        0    Quince 2  hardened 2026-06-14        NaT        NaT        NaT
        1  Crab apple  hardened 2026-06-14 2026-06-09 2026-06-16 2026-07-24
        2    Quince 1  budbreak 2026-06-14 2026-06-11 2026-06-15        NaT
        """
        return tables.forecast_table(self.outlook).as_frame()

    @names_columns(tables.CHANCES)
    def chances(self) -> pd.DataFrame:
        """The forecast in full: day by day, the chance that a stage has come by the day's end.

        Returns
        -------
        DataFrame, one row a tree, flush, stage and day; its quantiles are those of `forecast`
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> daily = garden.chances().query("label == 'Beech' and day == 171").round({"chance": 1})
        >>> daily[["date", "stage", "chance"]]
                  date     stage  chance
        810 2026-06-20  hardened     0.8
        """
        return tables.chances_table(self.outlook).as_frame()

    @names_columns(tables.WINDOWS)
    def windows(self) -> pd.DataFrame:
        """What may be done to which tree when, and what waiting costs: open windows first.

        Returns
        -------
        DataFrame, one row a window; odds are missing for work that wakes nothing
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.windows()[["label", "operation", "open", "opens_p50", "closes"]].head(3)
                label operation   open  opens_p50     closes
        0  Crab apple   cutback  False 2026-06-12 2026-07-24
        1     Maple 1   cutback  False 2026-06-15 2026-07-20
        2       Beech   cutback  False 2026-06-16 2026-07-01
        """
        return tables.windows_table(windows(self.outlook)).as_frame()

    @names_columns(tables.LAST_SAFE)
    def last_safe_dates(self) -> pd.DataFrame:
        """When to stop: the last day on which what a cut wakes still ripens, by species and place.

        Returns
        -------
        DataFrame, one row a species and place that holds one
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.last_safe_dates()[["species", "last_safe", "limit", "zone"]].head(3)
                        species  last_safe  limit    zone
        0  Rhododendron indicum 2026-06-04  frost  danger
        1         Fagus crenata 2026-07-01  frost  ripens
        2        Malus halliana 2026-07-24  frost  ripens
        """
        return tables.last_safe_table(self.snapshot).as_frame()

    @names_columns(tables.CARE)
    def care(self) -> pd.DataFrame:
        """Care that work done, weather and season ask for now and in days to come, wire looks among it.

        Returns
        -------
        DataFrame, one row a thing to do or look for
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.care()[["label", "care", "first", "last", "after"]].head(3)
                label   care      first       last                after
        0    Quince 1  water 2026-05-27 2026-06-24  partial-defoliation
        1  Hornbeam 2  water 2026-06-05 2026-06-19              cutback
        2  Hornbeam 2  water 2026-06-05 2026-06-19              halving
        """
        return tables.care_table(self.snapshot, self.outlook.rows).as_frame()

    @names_columns(tables.ROUND)
    def round(self) -> pd.DataFrame:
        """Which trees to look at on this walk because a look would change a decision; most pressing first.

        Returns
        -------
        DataFrame, one row a tree and reason
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.round()[["label", "by", "rank"]].head(3)
                label         by  rank
        0       Beech 2026-07-01     0
        1  Hornbeam 2 2026-06-15     1
        2  Hornbeam 1 2026-06-16     1
        """
        return tables.round_table(plan_round(make_agenda(self.outlook)).visits).as_frame()

    @names_columns(tables.CHANGES)
    def changes(self, since: date | None = None) -> pd.DataFrame:
        """What is news in the forecast: stages that came outside their range, and dates that moved.

        Parameters
        ----------
        since : date, optional
            The day of the earlier forecast; by default before the last look, and a week ago at least.

        Returns
        -------
        DataFrame, one row a tree and stage, misses first
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.changes()[["label", "stage", "why"]].head(1)
            label     stage    why
        0  Azalea  extended  looks
        """
        return tables.changes_table(forecast_changes(self.outlook, since)).as_frame()
