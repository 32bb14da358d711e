"""What a garden's records have taught as tables: the columns of JSON and DataFrames."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import groupby
from operator import itemgetter
from typing import Any

from phenology.learning.classic import ClassicRow
from reports.table import Column, Table, attribute, each, json_text

SCHEMA = "flushcast.calibration/1"
CLASSIC_SCHEMA = "flushcast.classic/1"


def _interval(name: str, middle: str, of: str, meaning: str) -> Iterator[Column[Any]]:
    """A median and the ends of its 80 % interval, from a tuple of the three."""
    names = {f"{name}.{middle}": meaning, f"{name}.p10": "its 80 % interval", f"{name}.p90": ""}
    return each(names, "number", lambda row, k: getattr(row, of)[k], digits=2)


def _limits(name: str, of: str) -> Iterator[Column[ClassicRow]]:
    """Both ends of an interval of the average relation; None where the method has none."""
    meanings = {"low": "95 %, of the average relation; infinite without limit", "high": ""}

    def end(row: ClassicRow, k: int) -> float | None:
        interval = row.result and getattr(row.result, of)
        return interval[k] if interval else None

    for column in each({f"{name}.{end}": why for end, why in meanings.items()}, "number", end, digits=2):
        yield replace(column, listed=True)


_SPECIES = attribute("species", "text")
_STEP = (
    _SPECIES,
    attribute("from", "text", "`start` of the season, `work`, or a stage", of="transition.start"),
    attribute("to", "text", "a stage", of="transition.target"),
)
COLUMNS: dict[str, tuple[Column[Any], ...]] = {
    "rows": (
        *_STEP,
        attribute("looks", "whole", "at the species"),
        attribute("seasons", "whole", "with the step seen to its end"),
        attribute("unfinished", "whole", "waits that ended without it"),
        *_interval("requirement", "days_at_18c", "days", "of an average tree and season"),
        attribute("catalogue_days_at_18c", "number", "what the catalogue guessed", 2, of="prior_days"),
        attribute("expected_error_days_at_18c", "number", "of a forecast made at `from`", 2, of="error_days"),
        attribute("prior_share", "number", "of the catalogue in the requirement, 1 to 0", 3),
        attribute("others_share", "number", "of other gardens in it, 1 to 0", 3),
        attribute("clock", "text", "that explains most"),
        attribute("clock_share", "number", "its share of all, 0 to 1", 3),
    ),
    "past_forecasts": (
        _SPECIES,
        attribute("from", "text", "where the wait forecast begins", of="given"),
        Column("to", "text", lambda _: "hardened", "the stage forecast"),
        attribute("seasons", "whole"),
        attribute("tree_seasons", "whole", of="trees"),
        attribute("missed_days", "number", "mean distance of the median", 2, of="missed"),
        attribute("usual_date_missed_days", "number", "of the usual date", 2, of="usual_missed"),
        attribute("weather_helps", "yes", "whether the forecast came closer"),
    ),
    "work_habits": (
        _SPECIES,
        attribute("flush", "whole"),
        attribute("seasons", "whole"),
        attribute("weekday", "text"),
        attribute("same_week_of_the_year", "yes", of="same_week"),
        Column("days", "texts", lambda habit: [day.isoformat() for day in habit.days], "of that work"),
    ),
    "leaf_counts": (
        _SPECIES,
        attribute("flushes", "whole", "with counts"),
        attribute("flushes_counted_growing", "whole", "of them", of="paced"),
        *_interval("leaf_interval", "days_at_18c", "days_a_leaf", "of an average first flush"),
        attribute("degree_days_c_a_leaf", "number", "above the base [°C·d]", 1, of="degree_days_a_leaf"),
        attribute("base_c", "number", "°C", of="base"),
        *_interval("leaves_to_extended", "leaves", "leaves", "how many there will be"),
    ),
    "learned_from": (
        *_STEP,
        attribute("garden", "text", "as it is called here"),
        attribute("seasons", "whole"),
        attribute("trees", "whole"),
        attribute("looks", "whole"),
        Column("days_at_18c", "number", lambda r: r.days and r.days[0], "as heat above 5 °C reads it", 2),
        attribute("weight", "number", "among the other gardens, together 1", 3),
        attribute("climate", "text", "`alike`, `near` or `other`"),
    ),
    "classic": (
        *_STEP,
        attribute("waits", "whole"),
        attribute("seasons", "whole"),
        attribute("why_not", "text", "where there is no estimate"),
        attribute("method", "text"),
        Column("base_c", "number", lambda row: row.result and row.result.base, "°C", 2),
        Column("requirement_c_days", "number", lambda row: row.result and row.result.requirement, "°C·d", 1),
        *_limits("base_c_interval", "base_interval"),
        *_limits("requirement_c_days_interval", "requirement_interval"),
    ),
}
"""Columns of each table; days are days at a constant 18 degC, misses are plain days."""


def learned_table(name: str, rows: Iterable[Any]) -> Table[Any]:
    """Rows as the table of that name in `COLUMNS`."""
    return Table(CLASSIC_SCHEMA if name == "classic" else SCHEMA, COLUMNS[name], rows)


def calibration_json(**rows: Iterable[Any]) -> str:
    """The calibration as JSON, each argument a table of `COLUMNS` by its name."""
    return json_text(SCHEMA, {name: learned_table(name, made).records() for name, made in rows.items()})


def classic_json(rows: Iterable[Any]) -> str:
    """The classic estimates as JSON, in °C, by species and step; null where the records set no limit."""
    out = []
    for _, group in groupby(
        learned_table("classic", rows).records(), key=itemgetter("species", "from", "to")
    ):
        methods = list(group)
        head = {key: methods[0][key] for key in ("species", "from", "to", "waits", "seasons")}
        why_not = next((m["why_not"] for m in methods if m["why_not"]), None)
        estimates = [
            {k: v for k, v in m.items() if k not in (*head, "why_not")} for m in methods if not m["why_not"]
        ]
        for one in estimates:
            if one["method"] != "x_intercept":  # the only one that has intervals
                one["base_c_interval"] = one["requirement_c_days_interval"] = None
        out.append({**head, "why_not": why_not, "estimates": estimates})
    return json_text(CLASSIC_SCHEMA, {"for_comparison_only": True, "rows": out})
