"""Seasons side by side, frosts, what followed work, and trends, as DataFrames: the tables of `compare`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import pandas as pd

from phenology.judging.season_truth import season_truth
from phenology.seasons.compare import Comparison, compare_seasons
from phenology.seasons.followed import what_followed
from phenology.seasons.season_frosts import season_frosts
from phenology.seasons.tree_stages import tree_stages
from phenology.seasons.trends import garden_trends
from reports.notebook.columns import names_columns
from reports.notebook.opened import Opened
from reports.output.compare import COLUMNS, course_days, followed_stages, season_table


class SeasonFrames(Opened):
    """Frames of seasons beside each other, named and rounded as `flushcast compare --csv` has them."""

    @names_columns(COLUMNS["warmth"])
    def seasons(self, seasons: Sequence[int] | None = None) -> pd.DataFrame:
        """How warm seasons were up to the same day of each: today's.

        Parameters
        ----------
        seasons : sequence of int, optional
            The years they start in; by default the one under way and up to five before it.

        Returns
        -------
        DataFrame, one row a season
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.seasons([2024, 2025, 2026])[["season", "degree_days_c", "rank", "days_ahead"]]
           season  degree_days_c  rank  days_ahead
        0    2024          706.9   3.0        -2.0
        1    2025          914.8   1.0        13.3
        2    2026          804.8   2.0         5.2
        """
        return self._frame("warmth", self._compared(seasons).warmth)

    @names_columns(COLUMNS["course"])
    def days_ahead(self, season: int | None = None) -> pd.DataFrame:
        """A season against the mean of the others, day by day, at the first place.

        Parameters
        ----------
        season : int, optional
            The year it starts in; the one under way without it.

        Returns
        -------
        DataFrame, one row a day, up to today in the season under way
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.days_ahead().tail(2)
             season       date  degree_days_c  days_ahead
        163    2026 2026-06-13          789.6         5.1
        164    2026 2026-06-14          804.8         5.2
        """
        wanted = self.snapshot.season if season is None else season
        return self._frame("course", course_days(self._compared([wanted]), wanted, every=1))

    @names_columns(COLUMNS["stages"])
    def stages(self, seasons: Sequence[int] | None = None) -> pd.DataFrame:
        """When each species reached each stage: the middle of what its trees' looks say.

        Parameters
        ----------
        seasons : sequence of int, optional
            As `seasons`.

        Returns
        -------
        DataFrame, one row a species, flush, stage and season
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.stages([2025])[["species", "stage", "flush", "date", "degree_days_c"]].head(2)
                    species     stage  flush       date  degree_days_c
        0  Ulmus parvifolia  budbreak      1 2025-04-05          121.7
        1  Ulmus parvifolia  extended      1 2025-05-12          319.7
        """
        return self._frame("stages", self._compared(seasons).stages)

    @names_columns(COLUMNS["trees"])
    def tree_stages(self) -> pd.DataFrame:
        """The same tree by tree, of all seasons: stages that looks stand on both sides of.

        Returns
        -------
        DataFrame, one row a tree, flush, stage and season
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.tree_stages().query("stage == 'hardened'").groupby("season")["day"].mean().round(1)
        season
        2022    195.2
        2023    206.4
        2024    202.9
        2025    196.7
        2026    149.7
        Name: day, dtype: float64
        """
        return self._frame("trees", tree_stages(self.snapshot))

    @names_columns(COLUMNS["frosts"])
    def frosts(self) -> pd.DataFrame:
        """The last frost before each summer and the first after it, at every place; measured days only.

        Returns
        -------
        DataFrame, one row a place and season of which anything is known
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.frosts()[["season", "last_in_spring", "first_in_autumn", "days_between"]].tail(3)
            season last_in_spring first_in_autumn  days_between
        28    2024     2024-04-09      2024-11-05         209.0
        29    2025     2025-03-28      2025-10-25         210.0
        30    2026     2026-03-31             NaT           NaN
        """
        garden = self.snapshot
        known = {garden.calendar.season_of(w.first_day) for w in garden.weather.values()}
        seasons = tuple(range(min(known, default=garden.season), garden.season + 1))
        found = season_frosts(garden, seasons)
        return self._frame("frosts", [f for f in found if f.last is not None or f.first is not None])

    @names_columns(COLUMNS["followed"])
    def followed(self, seasons: Iterable[int] | None = None) -> pd.DataFrame:
        """Work and what followed: days from work that wakes to each stage of the flush it woke.

        Parameters
        ----------
        seasons : iterable of int, optional
            Only work of these; without it of all.

        Returns
        -------
        DataFrame, one row a species, operation and stage
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.followed()[["operation", "works", "stage", "n", "median"]].head(3)
          operation  works     stage  n  median
        0   cutback      7  budbreak  6    21.5
        1   cutback      7  extended  7    38.5
        2   cutback      7  hardened  7    56.0
        """
        works = what_followed(self.snapshot, None if seasons is None else set(seasons))
        return self._frame("followed", followed_stages(works))

    @names_columns(COLUMNS["trends"])
    def trends(self) -> pd.DataFrame:
        """How dates have moved over the years; with fewer than ten seasons nothing is said.

        Returns
        -------
        DataFrame, one row a thing whose date may move
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.trends()["what"].head(3).tolist()
        ['warmth', 'last frost', 'first frost']
        """
        return self._frame("trends", garden_trends(self.snapshot))

    @names_columns(COLUMNS["forecasts"])
    def season_skill(self, species: str | None = None) -> pd.DataFrame:
        """Forecasts of each past season against what came, each made without that season.

        Parameters
        ----------
        species : str, optional
            Latin or common name, or part of it; without it all.

        Returns
        -------
        DataFrame, one row a season
            {columns}

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.season_skill("elm")[["season", "median_miss", "median_miss_of_usual_date"]].round(0)
           season  median_miss  median_miss_of_usual_date
        0    2022          8.0                       11.0
        1    2023          3.0                       14.0
        2    2024          4.0                        7.0
        3    2025          8.0                       10.0
        """
        return self._frame("forecasts", season_truth(self._past_forecasts(species)))

    def _compared(self, seasons: Sequence[int] | None) -> Comparison:
        return compare_seasons(self.snapshot, seasons)

    def _frame(self, name: str, rows: Iterable[Any]) -> pd.DataFrame:
        return season_table(name, rows, self.snapshot).as_frame()
