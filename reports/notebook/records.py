"""What was written down, as DataFrames: places, trees, species, looks, work, flushes, changes."""

from __future__ import annotations

import math
from collections import Counter

import pandas as pd

from phenology.learning.transitions import TARGETS
from phenology.species.catalogue import STEPS
from reports.notebook.columns import Columns, table
from reports.notebook.opened import Opened

PLACES: Columns = {
    "place": "text", "latitude_deg": "number", "longitude_deg": "number", "elevation_m": "number",
    "timezone": "text", "cover": "text", "sun": "text", "trees": "whole", "note": "text", "place_id": "text",
}  # fmt: skip
TREES: Columns = {
    "label": "text", "species": "text", "name": "text", "place": "text", "aim": "text", "pot": "text",
    "last_repot": "date", "vigour": "text", "grown_for": "text", "retired": "date", "looks": "whole",
    "seasons": "whole", "note": "text", "tree_id": "text",
}  # fmt: skip
SPECIES: Columns = {
    "species": "text", "name": "text", "trees": "whole", "habit": "text", "growth": "text",
    "defoliation": "text", "grown_for": "text", "leaves_least": "whole", "leaves_most": "whole",
    **{f"{step}_days_at_18c": "number" for step in STEPS},
}  # fmt: skip
LOOKS: Columns = {
    "date": "date", "earliest": "date", "latest": "date", "label": "text", "species": "text",
    "season": "whole", "flush": "whole", "stage": "text", "kind": "text", "checked": "yes", "lost": "yes",
    "part": "text", "leaves": "text", "who": "text", "note": "text", "typed": "text", "tree_id": "text",
    "flush_id": "text",
}  # fmt: skip
WORK: Columns = {
    "date": "date", "earliest": "date", "latest": "date", "label": "text", "species": "text",
    "season": "whole", "operation": "text", "wakes": "yes", "part": "text", "early": "yes", "who": "text",
    "note": "text", "typed": "text", "tree_id": "text",
}  # fmt: skip
FLUSHES: Columns = {
    "label": "text", "species": "text", "season": "whole", "flush": "whole", "started_by": "text",
    "started_on": "date", "woken_by": "text",
    **{f"{stage}_{end}": "date" for stage in TARGETS for end in ("after", "by")},
    "stage": "text", "last_look": "date", "checked": "yes", "lost": "yes", "ended_on": "date",
    "ended_why": "text", "contradiction": "text", "flush_id": "text",
}  # fmt: skip
INTERVALS: Columns = {
    "label": "text", "species": "text", "season": "whole", "flush": "whole", "stage": "text",
    "after": "date", "by": "date", "after_day": "number", "by_day": "number", "width_days": "number",
}  # fmt: skip
HISTORY: Columns = {
    "at": "time", "what": "text", "device": "text", "rows": "whole", "undone": "yes", "change_id": "text",
}  # fmt: skip


class Records(Opened):
    """Frames of what was written down."""

    def places(self) -> pd.DataFrame:
        """Where trees stand.

        Returns
        -------
        DataFrame, one row a place
            ``place``; ``latitude_deg``, ``longitude_deg`` (south and west negative); ``elevation_m``;
            ``timezone``, ``cover``, ``sun``; ``trees`` (how many stand there on the garden's day); ``note``,
            ``place_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.places()[["place", "latitude_deg", "elevation_m", "trees"]]
                       place  latitude_deg  elevation_m  trees
        0  Larkfield benches          48.2        310.0     12
        """
        garden = self.snapshot
        standing = [t for t in garden.trees if t.retired is None or t.retired > garden.as_of]
        count = Counter(garden.place_of(t, garden.as_of).id for t in standing)
        return table(
            (
                {
                    "place": p.name, "latitude_deg": p.latitude, "longitude_deg": p.longitude,
                    "elevation_m": p.elevation, "timezone": p.timezone, "cover": p.cover, "sun": p.sun,
                    "trees": count[p.id], "note": p.note, "place_id": p.id,
                }
                for p in garden.places
            ),
            PLACES,
        )  # fmt: skip

    def trees(self) -> pd.DataFrame:
        """The trees, with where they stand and what they are grown towards on the garden's day.

        Returns
        -------
        DataFrame, one row a tree
            ``label``; ``species`` (Latin) and ``name`` (common); ``place``, ``aim``, ``pot``; ``last_repot``
            (date); ``vigour``, ``grown_for``; ``retired`` (date, missing while it is grown); ``looks``, and
            ``seasons`` with any; ``note``, ``tree_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.trees()[["label", "species", "aim", "seasons"]].head(3)
                label               species       aim  seasons
        0      Azalea  Rhododendron indicum  refining        5
        1       Beech         Fagus crenata  refining        5
        2  Crab apple        Malus halliana  refining        5
        """
        garden = self.snapshot
        seasons: dict[str, set[int]] = {}
        looks: Counter[str] = Counter()
        for look in garden.looks:
            looks[look.tree_id] += 1
            seasons.setdefault(look.tree_id, set()).add(garden.calendar.season_of(look.latest))
        return table(
            (
                {
                    "label": t.label, "species": t.species, "name": garden.species_of(t).name,
                    "place": garden.place_of(t, garden.as_of).name, "aim": garden.aim_of(t), "pot": t.pot,
                    "last_repot": t.last_repot, "vigour": t.vigour, "grown_for": t.grown_for,
                    "retired": t.retired, "looks": looks[t.id], "seasons": len(seasons.get(t.id, ())),
                    "note": t.note, "tree_id": t.id,
                }
                for t in garden.trees
            ),
            TREES,
        )  # fmt: skip

    def species(self) -> pd.DataFrame:
        """The catalogue as this garden uses it: what a species is, and what is believed before any look.

        Returns
        -------
        DataFrame, one row a species, those that grow here first
            ``species`` (Latin), ``name`` (common), ``trees`` here; ``habit``, ``growth``, ``defoliation``,
            ``grown_for``; ``leaves_least``, ``leaves_most`` on a finished shoot; and the catalogue's median
            for each step, in days at a steady 18 °C: ``start_budbreak_days_at_18c``,
            ``work_budbreak_days_at_18c``, ``budbreak_extended_days_at_18c``,
            ``extended_hardened_days_at_18c``. `flushcast species NAME` shows where each comes from.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.species()[["species", "trees", "growth", "extended_hardened_days_at_18c"]].head(3)
                          species  trees growth  extended_hardened_days_at_18c
        0  Carpinus turczaninowii      3   free                           23.0
        1       Acer buergerianum      2   free                           16.0
        2  Pseudocydonia sinensis      2   free                           16.0
        """
        garden = self.snapshot
        count = Counter(t.species for t in garden.trees)
        known = sorted(garden.species.values(), key=lambda s: (-count[s.latin], s.latin))
        return table(
            (
                {
                    "species": s.latin, "name": s.name, "trees": count[s.latin], "habit": s.habit,
                    "growth": s.growth, "defoliation": s.defoliation, "grown_for": s.grown_for,
                    "leaves_least": s.leaves[0], "leaves_most": s.leaves[1],
                    **{
                        f"{step}_days_at_18c": s.priors[step].days if step in s.priors else None
                        for step in STEPS
                    },
                }
                for s in known
            ),
            SPECIES,
        )  # fmt: skip

    def looks(self) -> pd.DataFrame:
        """Every look, oldest first.

        Returns
        -------
        DataFrame, one row a look
            ``date`` (the day, or the last day of a vague one), ``earliest``, ``latest`` (dates); ``label``,
            ``species``; ``season`` (the year it starts in) and ``flush`` (1 for the season's own) that the
            look belongs to; ``stage``; ``kind`` (`seen`: stood by then, `happened`: came about then);
            ``checked``, ``lost`` (marks); ``part``, ``leaves``, ``who``, ``note``; ``typed`` (the date as
            written); ``tree_id``, ``flush_id``. `reports.notebook.hindcast` takes this frame as it is.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.looks()[["date", "label", "flush", "stage"]].tail(3)
                   date     label  flush     stage
        1097 2026-06-11       Elm      1  hardened
        1098 2026-06-11   Maple 1      1  extended
        1099 2026-06-11  Quince 1      1  extended
        """
        garden = self.snapshot
        trees = {t.id: t for t in garden.trees}
        where = {h.flush.id: (h.flush.season, h.number) for h in self.fit.histories}
        rows = []
        for look in sorted(garden.looks, key=lambda v: (v.latest, v.earliest, trees[v.tree_id].label)):
            season, flush = where[look.flush_id]
            tree = trees[look.tree_id]
            rows.append({
                "date": look.latest, "earliest": look.earliest, "latest": look.latest, "label": tree.label,
                "species": tree.species, "season": season, "flush": flush, "stage": look.stage,
                "kind": look.kind, "checked": look.checked, "lost": look.lost, "part": look.part,
                "leaves": look.leaves, "who": look.who, "note": look.note, "typed": look.date_text,
                "tree_id": tree.id, "flush_id": look.flush_id,
            })  # fmt: skip
        return table(rows, LOOKS)

    def work(self) -> pd.DataFrame:
        """All work, oldest first.

        Returns
        -------
        DataFrame, one row a piece of work on a tree
            ``date`` (the day, or the last day of a vague one), ``earliest``, ``latest`` (dates); ``label``,
            ``species``, ``season``; ``operation``; ``wakes`` (whether it wakes a flush); ``part``; ``early``
            (done before the leaves were hard, and so no evidence that they were); ``who``, ``note``;
            ``typed`` (the date as written); ``tree_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.work()[["date", "label", "operation", "wakes"]].tail(2)
                  date label operation  wakes
        130 2026-06-11   Elm   halving  False
        131 2026-06-11   Elm   cutback   True
        """
        garden = self.snapshot
        trees = {t.id: t for t in garden.trees}
        rows = []
        for work in sorted(garden.works, key=lambda w: (w.latest, w.earliest, trees[w.tree_id].label)):
            tree = trees[work.tree_id]
            rows.append({
                "date": work.latest, "earliest": work.earliest, "latest": work.latest, "label": tree.label,
                "species": tree.species, "season": garden.calendar.season_of(work.latest),
                "operation": work.operation, "wakes": work.operation.wakes, "part": work.part,
                "early": work.early, "who": work.who, "note": work.note, "typed": work.date_text,
                "tree_id": tree.id,
            })  # fmt: skip
        return table(rows, WORK)

    def flushes(self) -> pd.DataFrame:
        """Every flush, and between which looks its stages came.

        Returns
        -------
        DataFrame, one row a flush, tree by tree
            ``label``, ``species``, ``season`` (the year it starts in), ``flush`` (1 for the season's own);
            ``started_by`` (`season`, `seen` or `work`), ``started_on`` (date), ``woken_by`` (the operation);
            for each stage the last look before it and the first at or after it, as dates:
            ``budbreak_after``, ``budbreak_by``, ``extended_after``, ``extended_by``, ``hardened_after``,
            ``hardened_by`` (missing where no look says); ``stage`` and ``last_look``: the latest on record;
            ``checked``, ``lost``; ``ended_on``, ``ended_why``; ``contradiction`` (looks that go backward);
            ``flush_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.flushes()[["label", "season", "flush", "hardened_after", "hardened_by"]].head(2)
            label  season  flush hardened_after hardened_by
        0  Azalea    2022      1     2022-07-04  2022-07-12
        1  Azalea    2022      2     2022-10-02  2022-10-12
        """
        operations = {w.id: w.operation for w in self.snapshot.works}
        rows = []
        for h in self.fit.histories:
            season = h.flush.season
            ends = {}
            for stage in TARGETS:
                after, by = h.came.get(stage, (-math.inf, math.inf))
                ends[f"{stage}_after"] = self._day_before(season, after)
                ends[f"{stage}_by"] = self._date(season, by)
            rows.append({
                "label": h.tree.label, "species": h.tree.species, "season": season, "flush": h.number,
                "started_by": h.flush.started_by, "started_on": h.flush.started_on,
                "woken_by": operations.get(h.flush.work_id or ""), **ends, "stage": h.stage,
                "last_look": self._date(season, h.last_look), "checked": h.checked, "lost": h.lost,
                "ended_on": h.flush.ended_on, "ended_why": h.flush.ended_why,
                "contradiction": h.contradiction or None, "flush_id": h.flush.id,
            })  # fmt: skip
        return table(rows, FLUSHES)

    def intervals(self) -> pd.DataFrame:
        """The same in long form: one event a row, known to lie in (after, by].

        Returns
        -------
        DataFrame, one row a flush and stage that any look speaks of
            ``label``, ``species``, ``season`` (the year it starts in), ``flush``, ``stage``; ``after``,
            ``by``: the last look without it and the first look with it (dates, missing where there is none);
            ``after_day``, ``by_day``: the same as days of the season (1 for its first; -inf and inf where
            open); ``width_days``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.intervals()[["label", "season", "stage", "after", "by", "width_days"]].head(2)
            label  season     stage      after         by  width_days
        0  Azalea    2022  budbreak 2022-04-19 2022-04-28         9.0
        1  Azalea    2022  extended 2022-06-07 2022-06-13         6.0
        """
        rows = []
        for h in self.fit.histories:
            for stage, (after, by) in h.came.items():
                rows.append({
                    "label": h.tree.label, "species": h.tree.species, "season": h.flush.season,
                    "flush": h.number, "stage": stage, "after": self._day_before(h.flush.season, after),
                    "by": self._date(h.flush.season, by), "after_day": after, "by_day": by,
                    "width_days": by - after,
                })  # fmt: skip
        return table(rows, INTERVALS)

    def history(self) -> pd.DataFrame:
        """What was written when, newest first.

        Returns
        -------
        DataFrame, one row a change
            ``at`` (moment, UTC), ``what`` was done, the ``device`` it was written on, how
            many ``rows`` it changed, whether it was ``undone``, ``change_id``.

        Examples
        --------
        >>> from reports.notebook import open_garden
        >>> garden = open_garden("demo", as_of="2026-06-14")
        >>> garden.history()["what"].tolist()
        ['made the demo garden']
        """
        return table(
            (
                {
                    "at": c.at, "what": c.label, "device": c.device,
                    "rows": sum(c.rows.values()), "undone": c.undone, "change_id": c.batch,
                }
                for c in self.read_history()
            ),
            HISTORY,
        )  # fmt: skip
