"""What was written down, as DataFrames: places, trees, species, looks, work, flushes, changes."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import date
from typing import Any, NamedTuple

from data_sources.journal.changes import Change
from phenology.learning.flush_history import FlushHistory
from phenology.learning.transitions import TARGETS
from phenology.model.records import Look, Place, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import STEPS, Species
from reports.notebook.opened import Opened, framed
from reports.table import Column, attribute, each, fields

PLACES: tuple[Column[tuple[Place, int]], ...] = (
    Column("place", "text", lambda r: r[0].name, "its name"),
    Column("latitude_deg", "number", lambda r: r[0].latitude, "south negative"),
    Column("longitude_deg", "number", lambda r: r[0].longitude, "west negative"),
    Column("elevation_m", "number", lambda r: r[0].elevation),
    *fields(lambda r: r[0], timezone="text", cover="text", sun="text"),
    Column("trees", "whole", lambda r: r[1], "how many stand there on the garden's day"),
    Column("note", "text", lambda r: r[0].note),
    Column("place_id", "id", lambda r: r[0].id),
)


class TreeRow(NamedTuple):
    """A tree on the garden's day."""

    tree: Tree
    name: str
    place: str
    aim: str
    looks: int
    seasons: int


TREES: tuple[Column[TreeRow], ...] = (
    Column("label", "text", lambda r: r.tree.label),
    Column("species", "text", lambda r: r.tree.species, "its Latin name"),
    Column("name", "text", lambda r: r.name, "the species' common name"),
    Column("place", "text", lambda r: r.place),
    Column("aim", "text", lambda r: r.aim),
    *fields(lambda r: r.tree, pot="text", last_repot="date", vigour="text", grown_for="text"),
    Column("retired", "date", lambda r: r.tree.retired, "missing while it is grown"),
    Column("looks", "whole", lambda r: r.looks, "on record"),
    Column("seasons", "whole", lambda r: r.seasons, "with any look"),
    Column("note", "text", lambda r: r.tree.note),
    Column("tree_id", "id", lambda r: r.tree.id),
)


SPECIES: tuple[Column[tuple[Species, int]], ...] = (
    Column("species", "text", lambda r: r[0].latin, "its Latin name"),
    Column("name", "text", lambda r: r[0].name, "its common name"),
    Column("trees", "whole", lambda r: r[1], "that grow here"),
    *fields(lambda r: r[0], habit="text", growth="text", defoliation="text", grown_for="text"),
    *each(
        dict.fromkeys(("leaves_least", "leaves_most"), "on a finished shoot"),
        "whole",
        lambda r, k: r[0].leaves[k],
    ),
    *each(
        {f"{step}_days_at_18c": "the catalogue's median, in days at 18 °C" for step in STEPS},
        "number",
        lambda r, k: r[0].priors[STEPS[k]].days if STEPS[k] in r[0].priors else None,
    ),
)


def _dated(of: str) -> Iterator[Column[Any]]:
    """When an entry was, and of which tree."""
    yield attribute("date", "date", "the day, or the last day of a vague one", of=f"{of}.latest")
    yield attribute("earliest", "date", of=f"{of}.earliest")
    yield attribute("latest", "date", of=f"{of}.latest")
    yield attribute("label", "text", "the tree's name", of="tree.label")
    yield attribute("species", "text", "its Latin name", of="tree.species")
    yield attribute("season", "season", "the year it starts in")


class LookRow(NamedTuple):
    """A look with what it belongs to."""

    look: Look
    tree: Tree
    season: int
    flush: int


LOOKS: tuple[Column[LookRow], ...] = (
    *_dated("look"),
    Column("flush", "whole", lambda r: r.flush, "1 for the season's own"),
    Column("stage", "text", lambda r: r.look.stage),
    Column("kind", "text", lambda r: r.look.kind, "seen: stood by then; happened: came about then"),
    *fields(lambda r: r.look, checked="yes", lost="yes", part="text", leaves="text", who="text", note="text"),
    Column("typed", "text", lambda r: r.look.date_text, "the date as written"),
    Column("tree_id", "id", lambda r: r.tree.id),
    Column("flush_id", "id", lambda r: r.look.flush_id),
)


class WorkRow(NamedTuple):
    """A piece of work on a tree."""

    work: Work
    tree: Tree
    season: int


WORK: tuple[Column[WorkRow], ...] = (
    *_dated("work"),
    Column("operation", "text", lambda r: r.work.operation),
    Column("wakes", "yes", lambda r: r.work.operation.wakes, "whether it wakes a flush"),
    Column("part", "text", lambda r: r.work.part),
    Column("early", "yes", lambda r: r.work.early, "before leaves were hard: no evidence that they were"),
    *fields(lambda r: r.work, who="text", note="text"),
    Column("typed", "text", lambda r: r.work.date_text, "the date as written"),
    Column("tree_id", "id", lambda r: r.tree.id),
)


class FlushRow(NamedTuple):
    """A flush, and the operation that woke it."""

    h: FlushHistory
    calendar: SeasonCalendar
    woken_by: str | None = None

    def day(self, t: float | None) -> date | None:
        """The date of a time of its season; None where that is unknown or never."""
        return self.calendar.date(self.h.flush.season, t) if t is not None and math.isfinite(t) else None

    def looks(self, stage: str) -> tuple[date | None, date | None]:
        """The last look before a stage and the first at or after it."""
        after, by = self.h.came.get(stage, (-math.inf, math.inf))
        return self.day(after) if after >= 1 else None, self.day(by)


LOOKS_AROUND = {
    f"{stage}_{side}": meaning
    for stage in TARGETS
    for side, meaning in (("after", "the last look before it"), ("by", "the first at or after it"))
}
FLUSHES: tuple[Column[FlushRow], ...] = (
    Column("label", "text", lambda r: r.h.tree.label, "the tree's name"),
    Column("species", "text", lambda r: r.h.tree.species, "its Latin name"),
    Column("season", "season", lambda r: r.h.flush.season, "the year it starts in"),
    Column("flush", "whole", lambda r: r.h.number, "1 for the season's own"),
    Column("started_by", "text", lambda r: r.h.flush.started_by, "season, seen or work"),
    Column("started_on", "date", lambda r: r.h.flush.started_on),
    Column("woken_by", "text", lambda r: r.woken_by, "the operation"),
    *each(LOOKS_AROUND, "date", lambda r, k: r.looks(TARGETS[k // 2])[k % 2]),
    Column("stage", "text", lambda r: r.h.stage, "the latest on record"),
    Column("last_look", "date", lambda r: r.day(r.h.last_look)),
    *fields(lambda r: r.h, checked="yes", lost="yes"),
    *fields(lambda r: r.h.flush, ended_on="date", ended_why="text"),
    Column("contradiction", "text", lambda r: r.h.contradiction or None, "looks that go backward"),
    Column("flush_id", "id", lambda r: r.h.flush.id),
)
INTERVALS: tuple[Column[tuple[FlushRow, str]], ...] = (
    Column("label", "text", lambda r: r[0].h.tree.label, "the tree's name"),
    Column("species", "text", lambda r: r[0].h.tree.species, "its Latin name"),
    Column("season", "season", lambda r: r[0].h.flush.season, "the year it starts in"),
    Column("flush", "whole", lambda r: r[0].h.number, "1 for the season's own"),
    Column("stage", "text", lambda r: r[1]),
    Column("after", "date", lambda r: r[0].looks(r[1])[0], "the last look without it"),
    Column("by", "date", lambda r: r[0].looks(r[1])[1], "the first look with it"),
    Column("after_day", "number", lambda r: r[0].h.came[r[1]][0], "day of the season; -inf where open"),
    Column("by_day", "number", lambda r: r[0].h.came[r[1]][1], "day of the season; inf where open"),
    Column("width_days", "number", lambda r: r[0].h.came[r[1]][1] - r[0].h.came[r[1]][0], "between the two"),
)
HISTORY: tuple[Column[Change], ...] = (
    Column("at", "time", lambda c: c.at, "UTC"),
    Column("what", "text", lambda c: c.label, "was done"),
    Column("device", "text", lambda c: c.device, "it was written on"),
    Column("rows", "whole", lambda c: sum(c.rows.values()), "changed"),
    Column("undone", "yes", lambda c: c.undone, "whether it was taken back"),
    Column("change_id", "id", lambda c: c.batch),
)


class Records(Opened):
    """Frames of what was written down."""

    @framed(PLACES, "a place")
    def places(self) -> Iterable[tuple[Place, int]]:
        """Where trees stand.

        >>> garden.places()[["place", "latitude_deg", "elevation_m", "trees"]]
                       place  latitude_deg  elevation_m  trees
        0  Larkfield benches          48.2        310.0     12
        """
        garden = self.snapshot
        count = Counter(garden.place_of(t, garden.as_of).id for t in garden.standing_trees)
        return ((place, count[place.id]) for place in garden.places)

    @framed(TREES, "a tree")
    def trees(self) -> Iterable[TreeRow]:
        """The trees, with where they stand and what they are grown towards on the garden's day.

        >>> garden.trees()[["label", "species", "aim", "seasons"]].head(1)
                label               species       aim  seasons
        0      Azalea  Rhododendron indicum  refining        5
        """
        garden = self.snapshot
        season_of, looks_by_tree = garden.calendar.season_of, garden.looks_by_tree
        rows = []
        for tree in garden.trees:
            looks = looks_by_tree.get(tree.id, [])
            place, aim = garden.place_of(tree, garden.as_of).name, garden.aim_of(tree)
            seasons = len({season_of(look.latest) for look in looks})
            rows.append(TreeRow(tree, garden.species_of(tree).name, place, aim, len(looks), seasons))
        return rows

    @framed(SPECIES, "a species, those that grow here first")
    def species(self) -> Iterable[tuple[Species, int]]:
        """The catalogue as this garden uses it: what a species is, and what is believed before any look.

        `flushcast species NAME` shows where each value comes from.

        >>> garden.species()[["species", "trees", "growth", "extended_hardened_days_at_18c"]].head(1)
                          species  trees growth  extended_hardened_days_at_18c
        0  Carpinus turczaninowii      3   free                           23.0
        """
        count = Counter(tree.species for tree in self.snapshot.trees)
        known = sorted(self.snapshot.species.values(), key=lambda s: (-count[s.latin], s.latin))
        return ((species, count[species.latin]) for species in known)

    @framed(LOOKS, "a look; `reports.notebook.hindcast` takes this frame as it is")
    def looks(self) -> Iterable[LookRow]:
        """Every look, oldest first.

        >>> garden.looks()[["date", "label", "flush", "stage"]].tail(1)
                   date    label  flush      stage
        1063 2026-06-11  Maple 1      1   extended
        """
        trees = {t.id: t for t in self.snapshot.trees}
        where = {h.flush.id: (h.flush.season, h.number) for h in self.fit.histories}
        rows = [LookRow(look, trees[look.tree_id], *where[look.flush_id]) for look in self.snapshot.looks]
        return sorted(rows, key=lambda r: (r.look.latest, r.look.earliest, r.tree.label))

    @framed(WORK, "a piece of work on a tree")
    def work(self) -> Iterable[WorkRow]:
        """All work, oldest first.

        >>> garden.work()[["date", "label", "operation", "wakes"]].tail(1)
                  date    label            operation  wakes
        125 2026-06-11      Elm  partial-defoliation   True
        """
        trees, season_of = {t.id: t for t in self.snapshot.trees}, self.snapshot.calendar.season_of
        rows = [WorkRow(w, trees[w.tree_id], season_of(w.latest)) for w in self.snapshot.works]
        return sorted(rows, key=lambda r: (r.work.latest, r.work.earliest, r.tree.label))

    @framed(FLUSHES, "a flush, tree by tree; dates are missing where no look says")
    def flushes(self) -> Iterable[FlushRow]:
        """Every flush, and between which looks its stages came.

        >>> garden.flushes()[["label", "season", "flush", "hardened_after", "hardened_by"]].head(1)
            label  season  flush hardened_after hardened_by
        0  Azalea    2022      1     2022-07-04  2022-07-12
        """
        operations = {w.id: w.operation for w in self.snapshot.works}
        calendar = self.snapshot.calendar
        rows = (FlushRow(h, calendar, operations.get(h.flush.work_id or "")) for h in self.fit.histories)
        return rows

    @framed(INTERVALS, "a flush and stage that any look speaks of; missing where there is no look")
    def intervals(self) -> Iterable[tuple[FlushRow, str]]:
        """The same in long form: one event a row, known to lie in (after, by].

        >>> garden.intervals()[["label", "season", "stage", "after", "by", "width_days"]].head(1)
            label  season     stage      after         by  width_days
        0  Azalea    2022  budbreak 2022-04-19 2022-04-28         9.0
        """
        rows = (FlushRow(h, self.snapshot.calendar) for h in self.fit.histories)
        return ((row, stage) for row in rows for stage in row.h.came)

    @framed(HISTORY, "a change")
    def history(self) -> Iterable[Change]:
        """What was written when, newest first.

        >>> garden.history()["what"].tolist()
        ['made the demo garden']
        """
        return self.read_history()
