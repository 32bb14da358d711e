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

from phenology.judging.season_errors import SeasonErrors, season_errors
from phenology.model.track_record import PastForecast
from phenology.model.units import c_to_f
from phenology.seasons.compare import Comparison
from phenology.seasons.season_heat import BASE_C
from phenology.seasons.tree_stages import DaysAfter, Followed, what_followed
from phenology.seasons.trends import Trend, garden_trends
from reports.table import Column, Table, attribute, json_text

SCHEMA = "flushcast.compare/1"
COURSE_DAYS = 7  # days between entries of a season's course


def _days(value: float) -> str:
    return "." if math.isnan(value) else f"{value:.0f}"


_SEASON = attribute("season", "season", "the year in which it starts")
_AHEAD = attribute("days_ahead", "number", "of (+) or behind (-) the mean of the other seasons", 1)
_STAGE = (
    attribute("species", "text"),
    attribute("flush", "whole", "1 for the season's first"),
    attribute("stage", "text"),
    _SEASON,
)
_WHEN = (
    attribute("date", "date", "the middle of the looks either side"),
    attribute("day", "number", "the same as a decimal day of the season", 1),
)
_HEAT = (
    attribute("days_ahead", "number", "of (+) or behind (-) the same trees' other seasons, if three", 1),
    attribute("degree_days_from_season_start", "degree_days", "above 5 °C where the tree stood [°C·d]", 1),
    attribute("counted_from", "text", "what the flush's own warmth is: start, work or budbreak"),
    attribute("degree_days", "degree_days", "from there [°C·d]", 1),
)
COLUMNS: dict[str, tuple[Column[Any], ...]] = {
    "stages": (*_STAGE, *_WHEN, attribute("trees", "whole", "it is the mean of"), *_HEAT),
    "trees": (
        attribute("tree", "text", "its label"),
        *_STAGE,
        attribute("after", "date", "the look before"),
        attribute("by", "date", "the look that found it"),
        *_WHEN,
        *_HEAT,
        attribute("tree_id", "text"),
    ),
    "warmth": (
        _SEASON,
        attribute("through", "date", "the last day counted"),
        attribute("degree_days", "degree_days", "above 5 °C [°C·d]; missing where a tenth is lacking", 1,
                  title="heat", show="{:.0f}".format),
        attribute("rank", "number", "1 for the warmest of those shown", 0),
        attribute("rank_of_all", "number", "among all on record", 0, title="rank"),
        attribute("of_all", "whole", "how many those are"),
        _AHEAD,
        attribute("days_filled", "whole", "days that the weather lacks"),
    ),
    "course": (
        _SEASON,
        attribute("date", "date"),
        attribute("degree_days", "degree_days", "above 5 °C by the day's end [°C·d]", 1),
        _AHEAD,
    ),
    "frosts": (
        attribute("place", "text"),
        _SEASON,
        attribute("last_in_spring", "date", "the last before midsummer"),
        attribute("may_yet_be_later", "yes", "midsummer is still ahead"),
        attribute("first_in_autumn", "date", "the first after midsummer"),
        attribute("days_between", "number", "the two", 0, title="days between"),
        attribute("no_frost_in_spring", "yes", "none came"),
        attribute("no_frost_in_autumn", "yes", "none came"),
    ),
    "forecasts": (
        _SEASON,
        attribute("flushes", "whole"),
        attribute("forecasts", "whole", "made of them"),
        attribute("median_miss", "number", "of forecasts issued when the wait began [d]", 1, of="missed"),
        attribute("median_late", "number", "the same, early is negative [d]", 1, of="late"),
        attribute("median_miss_last_3_weeks", "number", "of those issued then [d]", 1, of="missed_near",
                  title="last 3 weeks", show=_days),
        attribute("median_miss_of_usual_date", "number", "the other seasons' mean [d]", 1, of="usual_missed",
                  title="usual date", show=_days),
        attribute("share_inside_80", "number", "of 80 % ranges that held it, 0 to 1", 3, of="held",
                  title="held", show="{:.0%}".format),
    ),
    "followed": (
        attribute("species", "text", of="work.species"),
        attribute("operation", "text", of="work.operation"),
        attribute("works", "whole", "times it was done", of="work.works"),
        attribute("seasons", "whole", "in how many", of="work.seasons"),
        attribute("flushed", "whole", "times after which new growth was seen", of="work.flushed"),
        attribute("stage", "text", "missing where nothing was seen to follow"),
        attribute("n", "whole", "times it was seen to come", of="days.n"),
        attribute("median", "number", "days from the work", 1, of="days.median"),
        attribute("least", "number", "days", 1, of="days.least"),
        attribute("most", "number", "days", 1, of="days.most"),
    ),
    "trends": (
        attribute("what", "text", "`warmth` (what is usual by today; in winter `half the warmth` of a usual "
                  "season), `last frost`, `first frost`, or a stage of first flushes"),
        attribute("species", "text", "missing for weather"),
        attribute("seasons", "whole", "that have it"),
        attribute("days_per_decade", "number", "later (+) or earlier (-); missing under ten seasons", 2),
        attribute("low95", "number", "its 95 % interval", 2),
        attribute("high95", "number", "", 2),
        attribute("first_season", "number", "that has it", 0),
        attribute("last_season", "number", "that has it", 0),
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


def course_days(comparison: Comparison, season: int, every: int = COURSE_DAYS) -> list[CourseDay]:
    """A season's course, every so many days and on its last."""
    course = comparison.courses[season]
    date_of, last = comparison.garden.calendar.date, len(course.heat) - 1
    return [
        CourseDay(season, date_of(season, day), day, float(course.heat[day]), float(course.ahead[day]))
        for day in sorted({*range(every, last, every), last})
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

    `look_back` gives the past forecasts; None where nobody asked for them.
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
    def errors(self) -> list[SeasonErrors]:
        """Those forecasts against what came, season by season."""
        return season_errors(self.past)

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
            "forecasts": lambda: self.errors,
            "followed": lambda: followed_stages(self.followed),
            "trends": lambda: self.trends,
        }
        label = c.garden.calendar.label
        return Table(SCHEMA, COLUMNS[name], rows[name](), units=self.units, season_label=label)

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
