"""What a garden's records have taught: as text at 80 columns, and the columns of JSON and DataFrames."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from itertools import groupby
from operator import itemgetter
from typing import Any

from phenology.language.degrees import degrees
from phenology.learning.calibration import Calibrated, calibrate
from phenology.learning.classic import ClassicBase, ClassicRow
from phenology.learning.garden_fit import GardenFit
from phenology.learning.garden_leaves import GardenLeaves, LeafHabit
from phenology.learning.learned_from import LearnedFrom, learned_from
from phenology.learning.observers import Lateness
from phenology.learning.work_habit import WorkHabit, work_habits
from phenology.model.track_record import PastForecast, TrackRecord
from phenology.species.catalogue import Species
from reports.table import Column, Kind, Table, attribute, each, grid, in_units, json_text, picked
from reports.views.words import counted, short_date

WIDTH = 80
CLIMATES = {"alike": "a climate like here", "near": "a climate near to here", "other": "another climate"}
METHODS = {
    "sd_gdd": "least spread of degree-days",
    "sd_days": "least spread in days",
    "cv_gdd": "least relative spread",
    "x_intercept": "where the rate meets nought",
}
CLOSING = (
    "For comparison only: forecasts do not use these. They take the middle between two looks for the date "
    "and know neither trees nor seasons; a base and its requirement go together and mean little apart. "
    "Intervals: 95 %, of the average relation, for the last method alone."
)
STEPS_MEAN = (
    "error: how far a forecast made when the step begins usually misses, in an average season. guess: how "
    "much of the figure is still the catalogue's. open: waits that ended unfinished; they count as at least "
    "so long."
)
OTHERS_MEAN = "others: how much of it comes from other growers' calibrations."
STEP_AND_DAYS: tuple[Column[Calibrated], ...] = (
    Column("step", "text", lambda row: f"  {row.transition.words}", title="  step"),
    Column("days", "text", lambda row: "{:.0f} ({:.0f}-{:.0f})".format(*row.days)),
)


@dataclass(frozen=True)
class Learned:
    """What a garden's records have taught of its species, or of one: steps, and what else they tell.

    The fields are named as the tables of `COLUMNS`.
    """

    rows: Sequence[Calibrated]
    past_forecasts: Sequence[TrackRecord] = ()
    work_habits: Sequence[WorkHabit] = ()
    leaf_counts: Sequence[LeafHabit] = ()
    learned_from: Sequence[LearnedFrom] = ()

    @classmethod
    def of(
        cls,
        fit: GardenFit,
        past: Sequence[PastForecast],
        latin: str | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> Learned:
        """Of every species, or the one with a Latin name; `past` are forecasts of all of them."""
        rows = list(calibrate(fit, latin, progress=progress))
        records = TrackRecord.of(past).values()
        return cls(
            rows,
            [one for one in records if one.trees and latin in (None, one.species)],
            list(work_habits(fit.histories, fit.garden.calendar, latin)),
            list(GardenLeaves(fit).habits(latin)),
            list(learned_from(fit, latin)),
        )

    def tables(self, units: str) -> Iterator[tuple[str, int, Table[Calibrated], list[str]]]:
        """Species by species: Latin name, looks at it, its steps as a table, and what else is told of it."""
        others = ["others_share"] if any(row.others_share for row in self.rows) else []
        names = ("expected_error_days_at_18c", "prior_share", *others, "seasons", "unfinished")
        shown = (*STEP_AND_DAYS, *picked(COLUMNS["rows"], *names))
        for species in dict.fromkeys(row.species for row in self.rows):
            mine = [row for row in self.rows if row.species == species]
            yield species, mine[0].looks, Table("", shown, mine), list(self._words(species, units))

    def _words(self, species: str, units: str) -> Iterator[str]:
        """From whom it was learned, leaves, past forecasts, habits that mislead."""
        yield from learned_words([one for one in self.learned_from if one.species == species])
        yield from (leaf_words(leaf, units) for leaf in self.leaf_counts if leaf.species == species)
        skills = (one for one in self.past_forecasts if one.species == species and one.compared)
        yield from map(_skill_words, skills)
        yield from (habit_words(habit) for habit in self.work_habits if habit.species == species)

    def as_json(self) -> str:
        """Every table of it, by the name of its field."""
        names = (field.name for field in fields(self))
        return json_text(SCHEMA, {name: learned_table(name, getattr(self, name)).records() for name in names})


def calibration_text(learned: Learned, catalogue: Mapping[str, Species], units: str) -> str:
    """The calibration: a block a species, a line a step, and how it would have done."""
    if not learned.rows:
        return "Nothing to calibrate yet: there are no trees, or no looks at them."
    lines = [
        f"How long each step takes on average, in days at a steady {degrees(18, units)}; four in five",
        "that it lies between the two ends, wide where it is open which warmth counts:",
    ]
    for species, looks, steps, words in learned.tables(units):
        known = catalogue.get(species)
        lines += [
            "",
            f"{species}{f' ({known.name})' if known else ''}, {counted(looks, 'looks')}",
            steps.as_text(WIDTH),
        ]
        lines += [line for text in words for line in _indented(text, "  ")]
    lines += ["", *textwrap.wrap(STEPS_MEAN, WIDTH - 4)]
    if learned.learned_from:
        lines.append(OTHERS_MEAN)
    return "\n".join(lines)


def leaf_words(habit: LeafHabit, units: str) -> str:
    """How fast leaves come, and how many, in the garden's units."""
    number = f"{habit.leaves[0]:.1f} leaves to extended"
    flushes = f"from {counted(habit.flushes, 'flushes')} counted"
    if not habit.paced:  # counted only at the end: nothing was seen of the pace
        return f"{number}, {flushes}."
    heat = in_units(habit.degree_days_a_leaf, "degree_days", units)
    base = in_units(habit.base, "temperature", units)
    return (
        f"A leaf each {habit.days_a_leaf[0]:.1f} days at {degrees(18, units)} "
        f"({heat:.0f} degree-days above {base:g}), {number}, {flushes}."
    )


def learned_words(learned: Sequence[LearnedFrom]) -> Iterator[str]:
    """What came from whom: a sentence a garden."""
    for garden, group in groupby(sorted(learned, key=lambda one: one.garden), key=lambda one: one.garden):
        rows = list(group)
        weight = sum(row.weight for row in rows) / len(rows)
        steps = "; ".join(
            f"{row.transition.words} {row.days[0]:.0f} ({row.days[1]:.0f}-{row.days[2]:.0f})"
            for row in rows
            if row.days and len(row.transition.links()) == 1
        )
        seasons = counted(max(row.seasons for row in rows), "seasons")
        yield (
            f"From {garden}, {CLIMATES[rows[0].climate]}, {seasons}, "
            f"{counted(max(row.trees for row in rows), 'trees')}, {weight:.0%} of what others say"
            f"{f': {steps}' if steps else ''}."
        )


def _skill_words(skill: TrackRecord) -> str:
    """Past forecasts against the usual date; honest when the weather added nothing."""
    ours, usual = round(skill.missed), round(skill.usual_missed)
    seen = f"on {counted(skill.seasons, 'seasons')} it had not seen"
    if skill.weather_helps and ours < usual:
        return f"Your usual date missed hardening by {counted(usual, 'days')}, flushcast by {ours}, {seen}."
    if skill.weather_helps:
        return f"Flushcast did no better than your usual date, {counted(usual, 'days')} off, {seen}."
    return f"Your usual date did as well or better ({counted(usual, 'days')} off, flushcast {ours}), {seen}."


def habit_words(habit: WorkHabit) -> str:
    """What work that keeps to the week may hide."""
    when = f"a {habit.weekday}" if habit.weekday != "weekend" else "weekends"
    if habit.same_week:
        first, last = (f(habit.days, key=lambda d: (d.month, d.day)) for f in (min, max))
        when = f"the same {habit.weekday} of the year ({short_date(first)} to {short_date(last)})"
    return (
        f"Flush {habit.flush}: only work tells when its leaves were hard, and in all {habit.seasons} seasons "
        f"it fell on {when}. The habit may be showing, not the tree; one look that finds leaves "
        '"still soft" before you cut puts it right.'
    )


def observers_text(found: Sequence[Lateness]) -> str:
    """Who calls leaves hard later than whom; a difference that may be none is said to be so."""
    if not found:
        return "\nNo flush was followed to hard leaves by two people, so nobody is compared."
    lines = [""]
    for one in found:
        span = f"{one.low:.0f} to {one.high:.0f}"
        words = (
            f"{one.second} calls leaves hard some {one.days:.0f} days later ({span}) than {one.first}"
            if one.clear
            else f"{one.first} and {one.second} call leaves hard alike, as far as can be told ({span} days)"
        )
        flushes = counted(one.flushes, "flushes")
        lines += textwrap.wrap(f"{words}; {flushes} seen by both.", WIDTH, subsequent_indent="  ")
    return "\n".join(lines)


def classic_text(rows: Iterable[ClassicRow], units: str) -> str:
    """The classic estimates: a block a species and step, a line a method."""
    lines = [f"Base (°{units}) and degree-days by four classic methods, for comparison only"]
    before = ""
    for (species, step), group in groupby(rows, key=lambda row: (row.species, row.transition)):
        methods = list(group)
        lines += ["", species] if species != before else [""]
        before = species
        waits = counted(methods[0].waits, "waits")
        lines.append(f"  {step.words}, {waits} in {counted(methods[0].seasons, 'seasons')}")
        cells = [
            (f"    {METHODS[row.method]}", *_estimate(row.result, units)) for row in methods if row.result
        ]
        lines += [grid(["", "base", "degree-days"], cells, WIDTH)] if cells else []
        why_not = next((row.why_not for row in methods if row.why_not), "")
        lines += _indented(why_not, "    ")
    if not before:
        return "No finished waits yet: nothing to compare with."
    return "\n".join([*lines, "", *textwrap.wrap(CLOSING, WIDTH)])


def _estimate(found: ClassicBase, units: str) -> Iterator[str]:
    def shown(kind: Kind, digits: int) -> Callable[[float], str]:
        return lambda v: f"{round(in_units(v, kind, units), digits) + 0.0:.{digits}f}"  # no -0.0

    base, need = shown("temperature", 1), shown("degree_days", 0)
    yield base(found.base) + _span(found.base_interval, base)
    yield need(found.requirement) + _span(found.requirement_interval, need)


def _span(interval: tuple[float, float] | None, shown: Callable[[float], str]) -> str:
    if interval is None:
        return ""
    if not any(map(math.isfinite, interval)):
        return " (no limit)"
    low, high = (shown(v) if math.isfinite(v) else "no limit" for v in interval)
    return f" ({low} to {high})"


def _indented(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


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
        attribute("unfinished", "whole", "waits that ended without it",
                  title="open", show=lambda waits: str(waits or ".")),
        *_interval("requirement", "days_at_18c", "days", "of an average tree and season"),
        attribute("catalogue_days_at_18c", "number", "what the catalogue guessed", 2, of="prior_days"),
        attribute("expected_error_days_at_18c", "number", "of a forecast made at `from`", 2, of="error_days",
                  title="error", show="{:.0f}".format),
        attribute("prior_share", "number", "of the catalogue in the requirement, 1 to 0", 3,
                  title="guess", show="{:.0%}".format),
        attribute("others_share", "number", "of other gardens in it, 1 to 0", 3,
                  title="others", show="{:.0%}".format),
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
}  # fmt: skip
"""Columns of each table; days are days at a constant 18 degC, misses are plain days."""


def learned_table(name: str, rows: Iterable[Any]) -> Table[Any]:
    """Rows as the table of that name in `COLUMNS`."""
    return Table(CLASSIC_SCHEMA if name == "classic" else SCHEMA, COLUMNS[name], rows)


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
