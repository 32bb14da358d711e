"""Seasons side by side, as JSON and CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from phenology.judging.season_truth import SeasonTruth, season_truth
from phenology.model.track_record import PastForecast
from phenology.model.units import c_to_f, degree_days_c_to_f
from phenology.seasons.compare import BASE_C, Comparison, SeasonHeat, StageDate, stage_day
from phenology.seasons.followed import Followed, what_followed
from phenology.seasons.season_frosts import SeasonFrost
from phenology.seasons.tree_stages import TreeStage, tree_stage_date
from phenology.seasons.trends import Trend, garden_trends

SCHEMA = "flushcast.compare/1"
TABLES = ("stages", "trees", "warmth", "course", "frosts", "forecasts", "followed", "trends")
COURSE_DAYS = 7  # days between entries of a season's course

Row = dict[str, Any]


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

    def rows(self, table: str) -> list[Row]:
        """One of `TABLES` as flat rows."""
        c = self.comparison
        made: dict[str, Callable[[], Iterable[Row]]] = {
            "stages": lambda: (self._stage(s) for s in c.stages),
            "trees": lambda: (self._tree(s) for s in c.trees),
            "warmth": lambda: (self._warmth(h) for h in c.heat),
            "course": lambda: (row for s in c.seasons for row in self._course(s)),
            "frosts": lambda: (self._frost(f) for f in c.frosts),
            "forecasts": lambda: (self._truth(t) for t in self.truth),
            "followed": lambda: (row for f in self.followed for row in _followed_rows(f)),
            "trends": lambda: (trend_record(t) for t in self.trends),
        }
        return list(made[table]())

    def record(self) -> Row:
        """Everything as plain data; heat in the garden's units, dates ISO."""
        garden = self.comparison.garden
        return {
            "schema": SCHEMA,
            "as_of": garden.as_of.isoformat(),
            "units": self.units,
            "place": self.comparison.place,
            "base": float(c_to_f(BASE_C)) if self.units == "F" else BASE_C,
            "seasons": self.rows("warmth"),
            "course": self.rows("course"),
            "frosts": self.rows("frosts"),
            "stages": self.rows("stages"),
            "trees": self.rows("trees"),
            "forecasts": self.rows("forecasts") if self.look_back else None,
            "followed": [_followed_record(f) for f in self.followed],
            "trends": self.rows("trends"),
            "attribution": list(garden.attribution),
        }

    def _label(self, season: int) -> str:
        return self.comparison.garden.calendar.label(season)

    def _heat(self, heat: float | None) -> float | None:
        if heat is None:
            return None
        return round(float(degree_days_c_to_f(heat)) if self.units == "F" else heat, 1)

    def _warmth(self, h: SeasonHeat) -> Row:
        return {
            "season": self._label(h.season),
            "through": self.comparison.garden.calendar.date(h.season, h.through).isoformat(),
            "degree_days": self._heat(h.heat) if h.told else None,
            "rank": h.rank if h.told else None,
            "rank_of_all": h.rank_ever if h.told else None,
            "of_all": h.ever,
            "days_ahead": rounded(h.ahead, 1),
            "days_filled": h.filled,
        }

    def _course(self, season: int) -> Iterable[Row]:
        heat, ahead = self.comparison.courses[season]
        for day in sorted({*range(COURSE_DAYS, len(heat), COURSE_DAYS), len(heat) - 1}):
            yield {
                "season": self._label(season),
                "date": self.comparison.garden.calendar.date(season, day).isoformat(),
                "degree_days": self._heat(float(heat[day])),
                "days_ahead": rounded(float(ahead[day]), 1),
            }

    def _frost(self, f: SeasonFrost) -> Row:
        garden = self.comparison.garden
        return {
            "place": f.place,
            "season": self._label(f.season),
            "last_in_spring": _iso(f.date_of(f.last, garden)),
            "may_yet_be_later": f.last_open,
            "first_in_autumn": _iso(f.date_of(f.first, garden)),
            "days_between": f.free_days,
            "no_frost_in_spring": f.last is not None and math.isinf(f.last) and not f.last_open,
            "no_frost_in_autumn": f.first is not None and math.isinf(f.first),
        }

    def _stage(self, s: StageDate) -> Row:
        return {
            "species": s.species,
            "flush": s.flush,
            "stage": s.stage,
            "season": self._label(s.season),
            "date": stage_day(s, self.comparison.garden).isoformat(),
            "day": round(s.day, 1),
            "trees": s.trees,
            "days_ahead": rounded(s.ahead, 1),
            "degree_days_from_season_start": self._heat(s.heat),
            "counted_from": s.since or None,
            "degree_days": self._heat(s.own_heat),
        }

    def _tree(self, s: TreeStage) -> Row:
        calendar = self.comparison.garden.calendar
        return {
            "tree": s.tree.label,
            "species": s.tree.species,
            "flush": s.flush,
            "stage": s.stage,
            "season": self._label(s.season),
            "after": calendar.date(s.season, s.after).isoformat(),
            "by": calendar.date(s.season, s.by).isoformat(),
            "date": tree_stage_date(s, self.comparison.garden).isoformat(),
            "day": round(s.day, 1),
            "days_ahead": rounded(s.ahead, 1),
            "degree_days_from_season_start": self._heat(s.heat),
            "counted_from": s.since or None,
            "degree_days": self._heat(s.own_heat),
        }

    def _truth(self, t: SeasonTruth) -> Row:
        return {
            "season": self._label(t.season),
            "flushes": t.flushes,
            "forecasts": t.forecasts,
            "median_miss": rounded(t.missed, 1),
            "median_late": rounded(t.late, 1),
            "median_miss_last_3_weeks": rounded(t.missed_near, 1),
            "median_miss_of_usual_date": rounded(t.usual_missed, 1),
            "share_inside_80": rounded(t.held, 3),
        }


COLUMNS: dict[str, tuple[str, ...]] = {
    "stages": ("species", "flush", "stage", "season", "date", "day", "trees", "days_ahead",
               "degree_days_from_season_start", "counted_from", "degree_days"),
    "trees": ("tree", "species", "flush", "stage", "season", "after", "by", "date", "day", "days_ahead",
              "degree_days_from_season_start", "counted_from", "degree_days"),
    "warmth": ("season", "through", "degree_days", "rank", "rank_of_all", "of_all", "days_ahead",
               "days_filled"),
    "course": ("season", "date", "degree_days", "days_ahead"),
    "frosts": ("place", "season", "last_in_spring", "may_yet_be_later", "first_in_autumn", "days_between",
               "no_frost_in_spring", "no_frost_in_autumn"),
    "forecasts": ("season", "flushes", "forecasts", "median_miss", "median_late", "median_miss_last_3_weeks",
                  "median_miss_of_usual_date", "share_inside_80"),
    "followed": ("species", "operation", "works", "seasons", "flushed", "stage", "n", "median", "least",
                 "most"),
    "trends": ("what", "species", "seasons", "days_per_decade", "low95", "high95"),
}  # fmt: skip
"""Columns of each table as CSV; those in degree-days name the garden's unit there."""


def compare_json(compared: Compared) -> str:
    """Everything as JSON text."""
    return json.dumps(compared.record(), ensure_ascii=False, indent=2)


def compare_csv(compared: Compared, table: str = "stages") -> str:
    """One of `TABLES` as CSV text; degree-days carry their unit in the column's name."""
    out = io.StringIO()
    unit = compared.units.lower()
    names = {c: f"{c}_{unit}" if c.startswith("degree_days") else c for c in COLUMNS[table]}
    writer = csv.DictWriter(out, list(names.values()), lineterminator="\n")
    writer.writeheader()
    for row in compared.rows(table):
        writer.writerow({names[key]: value for key, value in row.items()})
    return out.getvalue()


def _followed_record(f: Followed) -> Row:
    return {
        "species": f.species,
        "operation": f.operation,
        "works": f.works,
        "seasons": f.seasons,
        "flushed": f.flushed,
        "days": {
            stage: {"n": n, "median": round(middle, 1), "least": round(least, 1), "most": round(most, 1)}
            for stage, (n, middle, least, most) in f.days.items()
        },
    }


def _followed_rows(f: Followed) -> Iterable[Row]:
    told = _followed_record(f)
    days = told.pop("days")
    for stage, values in days.items():
        yield {**told, "stage": stage, **values}
    if not days:
        yield {**told, "stage": None, "n": 0, "median": None, "least": None, "most": None}


def trend_record(t: Trend) -> Row:
    """A trend as plain data."""
    return {
        "what": t.what,
        "species": t.species or None,
        "seasons": t.seasons,
        "days_per_decade": rounded(t.per_decade, 2),
        "low95": rounded(t.low, 2),
        "high95": rounded(t.high, 2),
    }


def rounded(value: float | None, digits: int) -> float | None:
    """A number with that many decimals; None for none and for not a number."""
    return None if value is None or math.isnan(value) else round(value, digits)


def _iso(day: date | None) -> str | None:
    return None if day is None else day.isoformat()
