"""What lies ahead, as DataFrames: forecast, chances, windows, last days, care, the round, what changed."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pandas as pd

from phenology.advice.adviser import late_seasons
from phenology.advice.forecast_change import forecast_changes
from phenology.advice.round import plan_round
from phenology.advice.windows import windows
from phenology.forecasting.arrival import LEVELS
from phenology.model.errors import WeatherError
from phenology.model.records import Site
from phenology.work.aftercare import aftercare
from reports.notebook.columns import Columns, table
from reports.notebook.opened import Opened
from reports.output.forecast import QUANTILES, row_record
from reports.text.aftercare_due import wire_looks

FORECAST: Columns = {
    "label": "text", "species": "text", "place": "text", "season": "whole", "flush": "whole", "stage": "text",
    "operation": "text", "seen_after": "date", "seen_by": "date", "look_on": "date",
    **{name: "date" for name in QUANTILES}, **{f"{name}_day": "number" for name in QUANTILES},
    "p_not": "number", "last_safe": "date", "odds_today": "number", "odds_in_14_days": "number",
    "odds_in_21_days": "number", "looks": "whole", "seasons": "whole", "prior_share": "number",
    "trust": "text", "warnings": "text", "tree_id": "text",
}  # fmt: skip
CHANCES: Columns = {
    "label": "text", "season": "whole", "flush": "whole", "stage": "text", "date": "date", "day": "whole",
    "chance": "number",
}  # fmt: skip
WINDOWS: Columns = {
    "label": "text", "species": "text", "flush": "whole", "operation": "text", "is_open": "yes",
    "opens_p10": "date", "opens_p50": "date", "opens_p90": "date", "best": "text", "closes": "date",
    "closes_why": "text", "odds_today": "number", "odds_in_14_days": "number", "odds_in_21_days": "number",
    "refused": "text", "tree_id": "text",
}  # fmt: skip
LAST_SAFE: Columns = {
    "species": "text", "place": "text", "last_safe": "date", "limit": "text", "why": "text", "zone": "text",
    "odds_today": "number", "odds_in_14_days": "number", "odds_in_21_days": "number",
}  # fmt: skip
CARE: Columns = {
    "label": "text", "species": "text", "care": "text", "first": "date", "last": "date", "due": "yes",
    "what": "text", "after": "text", "done_on": "date", "tree_id": "text",
}  # fmt: skip
ROUND: Columns = {
    "label": "text", "species": "text", "place": "text", "look_for": "text", "because": "text", "by": "date",
    "rank": "whole", "operation": "text", "tree_id": "text",
}  # fmt: skip
CHANGES: Columns = {
    "label": "text", "stage": "text", "expected": "date", "now": "date", "days": "whole", "missed": "yes",
    "why": "text",
}  # fmt: skip


class Ahead(Opened):
    """Frames of what lies ahead."""

    def forecast(self) -> pd.DataFrame:
        """The forecast, soonest first: what `flushcast forecast --json` tells, flat.

        Returns
        -------
        DataFrame, one row a tree, flush and stage ahead
            ``label``, ``species``, ``place``, ``season`` (the year it starts in), ``flush``, ``stage``,
            ``operation`` that it opens; ``seen_after``, ``seen_by`` (dates of the looks either side, where
            there are any), ``look_on`` (date); ``p10``, ``p25``, ``p50``, ``p75``, ``p90``: dates by which it
            has come with that chance, and the same as decimal days of the season in ``p10_day``,
            ``p25_day``, ``p50_day``, ``p75_day``, ``p90_day`` (missing beyond 1 - ``p_not``); ``p_not``, the
            chance that it does not come this season; ``last_safe`` (date) and ``odds_today``,
            ``odds_in_14_days``, ``odds_in_21_days``: the odds that what a cut wakes ripens; ``looks`` and
            ``seasons`` it rests on, ``prior_share`` (of the catalogue, 0 to 1), ``trust``, ``warnings``,
            ``tree_id``.

        Raises
        ------
        WeatherError
            If there is no weather, or it ended long ago.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.forecast()[["label", "stage", "look_on", "p10", "p90", "last_safe"]].head(3)
                label     stage    look_on        p10        p90  last_safe
        0  Crab apple  hardened 2026-06-14 2026-06-09 2026-06-17 2026-07-22
        1    Quince 2  hardened 2026-06-14 2026-06-10 2026-06-18        NaT
        2      Azalea  extended 2026-06-15 2026-06-13 2026-06-20        NaT
        """
        return table((self._forecast_row(row) for row in self.outlook.rows), FORECAST)

    def _forecast_row(self, row: Any) -> dict[str, Any]:
        record = row_record(row, self.outlook)
        after, by = record["seen"]
        days = {f"{name}_day": row.day(level) for name, level in zip(QUANTILES, LEVELS, strict=True)}
        return {
            **record, **days, "season": row.season, "seen_after": after, "seen_by": by,
            **{f"odds_{when}": odds for when, odds in record["odds"].items()},
            "warnings": "; ".join(record["warnings"]) or None, "tree_id": record["tree"],
        }  # fmt: skip

    def chances(self) -> pd.DataFrame:
        """The forecast in full: day by day, the chance that a stage has come by the day's end.

        Returns
        -------
        DataFrame, one row a tree, flush, stage and day, from today on
            ``label``, ``season``, ``flush``, ``stage``, ``date``, ``day`` of the season, ``chance`` (0 to 1).
            Its quantiles are those of `forecast`.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> daily = garden.chances().query("label == 'Beech' and day == 171").round({"chance": 1})
        >>> daily[["date", "stage", "chance"]]
                  date     stage  chance
        810 2026-06-20  hardened     0.8
        """
        garden = self.snapshot
        rows = []
        for row in self.outlook.rows:
            if row.arrival is None or not row.dated:
                continue
            start = garden.calendar.start(row.season)
            for n, chance in enumerate(row.arrival.curve.tolist()):
                day = start + timedelta(days=n - 1)
                if n and day >= garden.as_of:
                    rows.append({
                        "label": row.tree.label, "season": row.season, "flush": row.flush,
                        "stage": row.stage, "date": day, "day": n, "chance": chance,
                    })  # fmt: skip
        return table(rows, CHANCES)

    def windows(self) -> pd.DataFrame:
        """What may be done to which tree when, and what waiting costs: open windows first.

        Returns
        -------
        DataFrame, one row a window
            ``label``, ``species``, ``flush``, ``operation``; ``is_open``; ``opens_p10``, ``opens_p50``,
            ``opens_p90``: dates by which it has opened with that chance; ``best`` in words; ``closes``
            (date), ``closes_why``; ``odds_today``, ``odds_in_14_days``, ``odds_in_21_days``: the odds that
            what it wakes ripens (missing for work that wakes nothing); ``refused``: why it is not advised
            after all; ``tree_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.windows()[["label", "operation", "is_open", "opens_p50", "closes"]].head(3)
                label            operation  is_open  opens_p50     closes
        0  Crab apple              cutback    False 2026-06-13 2026-07-22
        1     Maple 1  partial-defoliation    False 2026-06-16 2026-07-19
        2       Beech              cutback    False 2026-06-17 2026-07-04
        """
        rows = []
        for window in windows(self.outlook):
            early, middle, late = window.opens
            rows.append({
                "label": window.row.tree.label, "species": window.row.tree.species,
                "flush": window.row.flush, "operation": window.operation, "is_open": window.is_open,
                "opens_p10": early, "opens_p50": middle, "opens_p90": late, "best": window.best,
                "closes": window.closes, "closes_why": window.closes_why or None, **_odds(window.odds),
                "refused": window.refused or None, "tree_id": window.row.tree.id,
            })  # fmt: skip
        return table(rows, WINDOWS)

    def last_safe_dates(self) -> pd.DataFrame:
        """When to stop: the last day on which what a cut wakes still ripens, by species and place.

        Returns
        -------
        DataFrame, one row a species and place that holds one
            ``species``, ``place``; ``last_safe`` (date; missing where nothing limits work, or no day is
            safe: ``limit`` tells which); ``limit`` that ruled and ``why``, in a sentence; ``zone``: what a
            cut does today (`ripens`, `danger`: wakes and does not ripen, `rests`); ``odds_today``,
            ``odds_in_14_days``, ``odds_in_21_days``: the odds that what it wakes ripens.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.last_safe_dates()[["species", "last_safe", "limit", "zone"]].head(3)
                        species  last_safe  limit    zone
        0  Rhododendron indicum 2026-06-17  frost  ripens
        1         Fagus crenata 2026-07-04  frost  ripens
        2        Malus halliana 2026-07-22  frost  ripens
        """
        garden = self.snapshot
        seasons, found = late_seasons(garden), {}
        for tree in garden.trees:
            site: Site = garden.site(tree, garden.season)
            place = garden.place_of(tree, garden.as_of).name
            if (tree.species, place) in found or (tree.retired and tree.retired <= garden.as_of):
                continue
            try:
                late = seasons.late(tree.species, site)
            except WeatherError:
                continue
            found[tree.species, place] = {
                "species": tree.species, "place": place, "last_safe": late.last_safe(),
                "limit": late.stop().limit, "why": late.reason(), "zone": late.zone(late.today),
                **_odds(late.odds()),
            }  # fmt: skip
        return table(found.values(), LAST_SAFE)

    def care(self) -> pd.DataFrame:
        """Care that work done asks for now and in the days to come, wire looks among it; soonest first.

        Returns
        -------
        DataFrame, one row a thing to do or look for
            ``label``, ``species``; ``care`` (a word for it); ``first``, ``last`` (dates); ``due`` (whether
            today lies between them, or past a wire look); ``what`` to do; ``after`` which operation,
            ``done_on`` (date); ``tree_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.care()[["label", "care", "first", "last", "after"]].head(3)
                label   care      first       last    after
        0  Hornbeam 2  water 2026-06-05 2026-06-19  cutback
        1  Hornbeam 2  water 2026-06-05 2026-06-19  halving
        2  Hornbeam 1  water 2026-06-06 2026-06-20  halving
        """
        garden, rows = self.snapshot, []
        for tree in garden.trees:
            if tree.retired is not None and tree.retired <= garden.as_of:
                continue
            for work in garden.works_by_tree.get(tree.id, []):
                for care in aftercare(work, tree, garden.species_of(tree), garden.aim_of(tree)):
                    if care.last >= garden.as_of:
                        rows.append(_care(tree, care.name, care.first, care.last, care.sentence, work))
        for tree, check in wire_looks(garden):
            rows.append(_care(tree, "wire", check.due, check.due, check.sentence, check.wired))
        for row in rows:
            row["due"] = row["first"] <= garden.as_of
        return table(sorted(rows, key=lambda r: (r["first"], r["label"], r["care"])), CARE)

    def round(self) -> pd.DataFrame:
        """Which trees to look at on this walk because a look would change a decision; most pressing first.

        Returns
        -------
        DataFrame, one row a tree and reason
            ``label``, ``species``, ``place``; ``look_for``; ``because``: what the look decides; ``by``
            (date until which that can wait); ``rank`` (0 presses, 1 is due, 2 in passing); ``operation``
            that may follow; ``tree_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.round()[["label", "by", "rank"]].head(3)
                label         by  rank
        0       Beech 2026-07-04     0
        1  Hornbeam 2 2026-06-15     1
        2  Hornbeam 1 2026-06-16     1
        """
        return table(
            (
                {
                    "label": v.tree.label, "species": v.tree.species, "place": v.place,
                    "look_for": v.look_for, "because": v.because, "by": v.by, "rank": v.rank,
                    "operation": v.operation, "tree_id": v.tree.id,
                }
                for v in plan_round(self.outlook).visits
            ),
            ROUND,
        )  # fmt: skip

    def changes(self, since: date | None = None) -> pd.DataFrame:
        """What is news in the forecast: stages that came outside their range, and dates that moved.

        Parameters
        ----------
        since : date, optional
            The day of the earlier forecast; by default before the last look, and a week ago at least.

        Returns
        -------
        DataFrame, one row a tree and stage, misses first
            ``label``, ``stage``; ``expected``, ``now`` (dates; for a miss the nearest day on which it may
            have come); ``days`` later (+) or earlier (-); ``missed``; ``why`` a date ahead has moved:
            `weather` or `looks`.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.changes()[["label", "stage", "why"]].head(1)
            label     stage    why
        0  Azalea  hardened  looks
        """
        return table(
            (
                {
                    "label": c.label, "stage": c.stage, "expected": c.expected, "now": c.now,
                    "days": c.days, "missed": c.missed, "why": c.why or None,
                }
                for c in forecast_changes(self.outlook, since)
            ),
            CHANGES,
        )  # fmt: skip


def _odds(odds: tuple[float, float, float] | None) -> dict[str, float | None]:
    now, fortnight, three_weeks = odds or (None, None, None)
    return {"odds_today": now, "odds_in_14_days": fortnight, "odds_in_21_days": three_weeks}


def _care(tree: Any, name: str, first: date, last: date, what: str, work: Any) -> dict[str, Any]:
    return {
        "label": tree.label, "species": tree.species, "care": name, "first": first, "last": last,
        "what": what, "after": work.operation, "done_on": work.latest, "tree_id": tree.id,
    }  # fmt: skip
