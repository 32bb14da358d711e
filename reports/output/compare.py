"""Seasons side by side as tables: the columns that JSON, CSV and DataFrames of them have."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from itertools import groupby
from operator import itemgetter
from typing import Any

from phenology.garden import Garden
from phenology.judging.season_truth import SeasonTruth, season_truth
from phenology.model.track_record import PastForecast
from phenology.model.units import c_to_f
from phenology.seasons.compare import Comparison
from phenology.seasons.followed import DaysAfter, Followed, what_followed
from phenology.seasons.season_heat import BASE_C
from phenology.seasons.trends import Trend, garden_trends
from reports.table import Column, Table, attribute, json_text

SCHEMA = "flushcast.compare/1"
COURSE_DAYS = 7  # days between entries of a season's course

_STAGE = (
    attribute("date", "date"),
    attribute("day", "number", 1),
    attribute("days_ahead", "number", 1),
    attribute("degree_days_from_season_start", "degree_days", 1),
    attribute("counted_from", "text"),
    attribute("degree_days", "degree_days", 1),
)
_KIND = (
    attribute("species", "text"),
    attribute("flush", "whole"),
    attribute("stage", "text"),
    attribute("season", "season"),
)
COLUMNS: dict[str, tuple[Column[Any], ...]] = {
    "stages": (*_KIND, *_STAGE[:2], attribute("trees", "whole"), *_STAGE[2:]),
    "trees": (
        attribute("tree", "text"), *_KIND, attribute("after", "date"), attribute("by", "date"), *_STAGE,
        attribute("tree_id", "text"),
    ),
    "warmth": (
        attribute("season", "season"),
        attribute("through", "date"),
        attribute("degree_days", "degree_days", 1),
        attribute("rank", "number", 0),
        attribute("rank_of_all", "number", 0),
        attribute("of_all", "whole"),
        attribute("days_ahead", "number", 1),
        attribute("days_filled", "whole"),
    ),
    "course": (
        attribute("season", "season"),
        attribute("date", "date"),
        attribute("degree_days", "degree_days", 1),
        attribute("days_ahead", "number", 1),
    ),
    "frosts": (
        attribute("place", "text"),
        attribute("season", "season"),
        attribute("last_in_spring", "date"),
        attribute("may_yet_be_later", "yes"),
        attribute("first_in_autumn", "date"),
        attribute("days_between", "number", 0),
        attribute("no_frost_in_spring", "yes"),
        attribute("no_frost_in_autumn", "yes"),
    ),
    "forecasts": (
        attribute("season", "season"),
        attribute("flushes", "whole"),
        attribute("forecasts", "whole"),
        attribute("median_miss", "number", 1, of="missed"),
        attribute("median_late", "number", 1, of="late"),
        attribute("median_miss_last_3_weeks", "number", 1, of="missed_near"),
        attribute("median_miss_of_usual_date", "number", 1, of="usual_missed"),
        attribute("share_inside_80", "number", 3, of="held"),
    ),
    "followed": (
        attribute("species", "text", of="work.species"),
        attribute("operation", "text", of="work.operation"),
        attribute("works", "whole", of="work.works"),
        attribute("seasons", "whole", of="work.seasons"),
        attribute("flushed", "whole", of="work.flushed"),
        attribute("stage", "text"),
        attribute("n", "whole", of="days.n"),
        attribute("median", "number", 1, of="days.median"),
        attribute("least", "number", 1, of="days.least"),
        attribute("most", "number", 1, of="days.most"),
    ),
    "trends": (
        attribute("what", "text"),
        attribute("species", "text"),
        attribute("seasons", "whole"),
        attribute("days_per_decade", "number", 2),
        attribute("low95", "number", 2),
        attribute("high95", "number", 2),
        attribute("first_season", "number", 0),
        attribute("last_season", "number", 0),
    ),
}  # fmt: skip
"""Columns of each table; those in degree-days name the garden's unit in CSV."""


@dataclass(frozen=True)
class CourseDay:
    """A season's warmth by the end of a day; `day` is that of the season."""

    season: int
    date: date
    day: int
    degree_days: float
    days_ahead: float


@dataclass(frozen=True)
class FollowedStage:
    """One stage of what followed work; without a stage where nothing was seen to follow."""

    work: Followed
    stage: str | None
    days: DaysAfter


def season_table(name: str, rows: Iterable[Any], garden: Garden, units: str = "C") -> Table[Any]:
    """Rows as the table of that name in `COLUMNS`."""
    return Table(SCHEMA, COLUMNS[name], rows, units=units, season_label=garden.calendar.label)


def course_days(comparison: Comparison, season: int, every: int = COURSE_DAYS) -> list[CourseDay]:
    """A season's course, every so many days and on its last."""
    heat, ahead = comparison.courses[season]
    return [
        CourseDay(
            season, comparison.garden.calendar.date(season, day), day, float(heat[day]), float(ahead[day])
        )
        for day in sorted({*range(every, len(heat), every), len(heat) - 1})
    ]


def followed_stages(followed: Iterable[Followed]) -> Iterator[FollowedStage]:
    """What followed, a row a stage."""
    for work in followed:
        for stage, days in work.days.items():
            yield FollowedStage(work, stage, days)
        if not work.days:
            yield FollowedStage(work, None, DaysAfter(0, math.nan, math.nan, math.nan))


@dataclass(frozen=True)
class Compared:
    """A comparison with what else there is to tell of its seasons, reckoned when asked for.

    Attributes
    ----------
    comparison : Comparison
    units : {"C", "F"}
    look_back : callable or None
        Gives the past forecasts; None where nobody asked to look back.
    """

    comparison: Comparison
    units: str
    look_back: Callable[[], list[PastForecast]] | None = None

    @cached_property
    def past(self) -> list[PastForecast]:
        """Past forecasts of the seasons compared."""
        made = self.look_back() if self.look_back else []
        return [one for one in made if one.season in self.comparison.seasons]

    @cached_property
    def truth(self) -> list[SeasonTruth]:
        """Those forecasts against what came, season by season."""
        return season_truth(self.past)

    @cached_property
    def followed(self) -> list[Followed]:
        """What followed work in the seasons compared."""
        return what_followed(self.comparison.garden, set(self.comparison.seasons))

    @cached_property
    def trends(self) -> list[Trend]:
        """Of all seasons on record: a trend of a few would say nothing."""
        return garden_trends(self.comparison.garden)

    def table(self, name: str) -> Table[Any]:
        """One of the tables of `COLUMNS`."""
        c = self.comparison
        rows: dict[str, Callable[[], Iterable[Any]]] = {
            "stages": lambda: c.stages,
            "trees": lambda: c.trees,
            "warmth": lambda: c.warmth,
            "course": lambda: (day for season in c.seasons for day in course_days(c, season)),
            "frosts": lambda: c.frosts,
            "forecasts": lambda: self.truth,
            "followed": lambda: followed_stages(self.followed),
            "trends": lambda: self.trends,
        }
        return season_table(name, rows[name](), c.garden, self.units)

    def as_json(self) -> str:
        """Every table as one JSON document; heat in the garden's units."""
        garden = self.comparison.garden
        tables = {
            name: self.table(name).records() for name in COLUMNS if name != "forecasts" or self.look_back
        }
        head = {
            "as_of": garden.as_of,
            "units": self.units,
            "place": self.comparison.place,
            "base": float(c_to_f(BASE_C)) if self.units == "F" else BASE_C,
        }
        return json_text(
            SCHEMA,
            {
                **head,
                "seasons": tables["warmth"],
                **{name: tables[name] for name in ("course", "frosts", "stages", "trees")},
                "forecasts": tables.get("forecasts"),
                "followed": _by_work(tables["followed"]),
                "trends": tables["trends"],
                "attribution": list(garden.attribution),
            },
        )


def _by_work(rows: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Rows a stage as one record a species and operation, with the stages under "days"."""
    out = []
    for _, group in groupby(rows, key=itemgetter("species", "operation")):
        stages = list(group)
        head = {key: stages[0][key] for key in ("species", "operation", "works", "seasons", "flushed")}
        days = {
            s["stage"]: {key: s[key] for key in ("n", "median", "least", "most")} for s in stages if s["n"]
        }
        out.append({**head, "days": days})
    return out
