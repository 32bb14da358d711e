"""What lies ahead, as DataFrames: forecast, chances, windows, last days, care, the round, what changed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from phenology.advice.agenda import AgendaRow, make_agenda, plan_round
from phenology.advice.care import CareDue, all_care
from phenology.advice.forecast_change import ForecastChange, forecast_changes
from phenology.advice.forecast_rows import ForecastRow
from phenology.advice.visits import Visit
from phenology.advice.windows import Window, windows
from reports.notebook.opened import Opened, framed
from reports.views import ahead as tables


class Ahead(Opened):
    """Frames of what lies ahead; JSON and CSV of the commands are the same tables."""

    @framed(tables.AGENDA, "a tree")
    def agenda(self) -> Iterable[AgendaRow]:
        """Every living tree once: today's first, then this week's, later ones, those to leave.

        >>> garden.agenda()[["label", "section", "next", "p50", "last_safe"]].head(1)
           label section      next        p50  last_safe
        0  Beech   today  hardened 2026-06-16 2026-06-29
        """
        return make_agenda(self.outlook).rows

    @framed(tables.FORECAST, "a tree, flush and stage ahead; quantiles are missing beyond 1 - ``p_not``")
    def forecast(self) -> Iterable[ForecastRow]:
        """The forecast, soonest first: what `flushcast forecast --json` tells, flat.

        Where weather is lacking, ``outlook.usual_warmth`` says what the dates rest on.

        >>> garden.forecast()[["label", "stage", "look_on", "p10", "p90", "last_safe"]].head(1)
                label     stage    look_on        p10        p90  last_safe
        0    Quince 2  hardened 2026-06-14        NaT        NaT        NaT
        """
        return self.outlook.rows

    @framed(tables.CHANCES, "a tree, flush, stage and day; its quantiles are those of `forecast`")
    def chances(self) -> Iterable[tables.Chance]:
        """The forecast in full: day by day, the chance that a stage has come by the day's end.

        >>> daily = garden.chances().query("label == 'Beech' and day == 171").round({"chance": 1})
        >>> daily[["date", "stage", "chance"]]
                  date     stage  chance
        810 2026-06-20  hardened     0.8
        """
        return tables.chances(self.outlook)

    @framed(tables.WINDOWS, "a window; odds are missing for work that wakes nothing")
    def windows(self) -> Iterable[Window]:
        """What may be done to which tree when, and what waiting costs: open windows first.

        >>> garden.windows()[["label", "operation", "open", "opens_p50", "closes"]].head(1)
                label operation   open  opens_p50     closes
        0  Crab apple   cutback  False 2026-06-12 2026-07-24
        """
        return windows(self.outlook)

    @framed(tables.LAST_SAFE, "a species and place that holds one")
    def last_safe_dates(self) -> Iterable[tables.LastSafe]:
        """When to stop: the last day on which what a cut wakes still ripens, by species and place.

        >>> garden.last_safe_dates()[["species", "last_safe", "limit", "zone"]].head(1)
                 species  last_safe  limit    zone
        0  Fagus crenata 2026-06-29  frost  ripens
        """
        return tables.last_safe_dates(self.snapshot)

    @framed(tables.CARE, "a thing to do or look for")
    def care(self) -> Iterable[CareDue]:
        """Care that work done, weather and season ask for now and in days to come, wire looks among it.

        >>> garden.care()[["label", "care", "first", "last", "after"]].head(1)
                label   care      first       last                after
        0    Quince 1  water 2026-05-27 2026-06-24  partial-defoliation
        """
        return all_care(self.outlook)

    @framed(tables.ROUND, "a tree and reason")
    def round(self) -> Iterable[Visit]:
        """Which trees to look at on this walk because a look would change a decision; most pressing first.

        >>> garden.round()[["label", "by", "rank"]].head(1)
           label         by  rank
        0  Beech 2026-06-29     0
        """
        return plan_round(make_agenda(self.outlook)).visits

    @framed(tables.CHANGES, "a tree and stage, misses first")
    def changes(self, since: date | None = None) -> Iterable[ForecastChange]:
        """What is news in the forecast: stages that came outside their range, and dates that moved.

        It is held against the forecast of the day `since`; by default before the last look, and a week ago at
        least.

        >>> garden.changes()[["label", "stage", "why"]].head(1)
            label     stage    why
        0  Azalea  extended  looks
        """
        return forecast_changes(self.outlook, since)
