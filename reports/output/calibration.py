"""What a garden's records have taught, as text and as JSON."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from typing import Any

from phenology.learning.calibration import Calibrated
from phenology.learning.garden_leaves import LeafHabit
from phenology.learning.observers import Lateness
from phenology.learning.work_habit import WorkHabit
from phenology.model.track_record import TrackRecord
from phenology.species.catalogue import Species

SCHEMA = "flushcast.calibration/1"


def calibration_json(
    rows: Sequence[Calibrated],
    skills: Sequence[TrackRecord] = (),
    habits: Sequence[WorkHabit] = (),
    leaves: Sequence[LeafHabit] = (),
) -> str:
    """The calibration as JSON; days are days at a constant 18 degC, misses are plain days."""
    record = {
        "schema": SCHEMA,
        "rows": [_record(row) for row in rows],
        "past_forecasts": [_skill_record(skill) for skill in skills],
        "work_habits": [_habit_record(habit) for habit in habits],
        "leaf_counts": [_leaf_record(habit) for habit in leaves],
    }
    return json.dumps(record, ensure_ascii=False, indent=2)


def _leaf_record(habit: LeafHabit) -> dict[str, Any]:
    days, number = habit.days_a_leaf, habit.leaves
    return {
        "species": habit.species,
        "flushes": habit.flushes,
        "flushes_counted_growing": habit.paced,
        "leaf_interval": {
            "days_at_18c": round(days[0], 2), "p10": round(days[1], 2), "p90": round(days[2], 2)
        },
        "degree_days_c_a_leaf": round(habit.degree_days_a_leaf, 1),
        "base_c": habit.base,
        "leaves_to_extended": {
            "leaves": round(number[0], 2), "p10": round(number[1], 2), "p90": round(number[2], 2)
        },
    }  # fmt: skip


def _skill_record(skill: TrackRecord) -> dict[str, Any]:
    return {
        "species": skill.species,
        "from": skill.given,
        "to": "hardened",
        "seasons": skill.seasons,
        "tree_seasons": skill.trees,
        "missed_days": round(skill.missed, 2),
        "usual_date_missed_days": round(skill.usual_missed, 2),
    }


def _habit_record(habit: WorkHabit) -> dict[str, Any]:
    return {
        "species": habit.species,
        "flush": habit.flush,
        "seasons": habit.seasons,
        "weekday": habit.weekday,
        "same_week_of_the_year": habit.same_week,
        "days": [day.isoformat() for day in habit.days],
    }


def _record(row: Calibrated) -> dict[str, Any]:
    middle, low, high = row.days
    return {
        "species": row.species,
        "from": row.transition.start,
        "to": row.transition.target,
        "looks": row.looks,
        "seasons": row.seasons,
        "unfinished": row.unfinished,
        "requirement": {"days_at_18c": round(middle, 2), "p10": round(low, 2), "p90": round(high, 2)},
        "catalogue_days_at_18c": round(row.prior_days, 2),
        "expected_error_days_at_18c": round(row.error_days, 2),
        "prior_share": round(row.prior_share, 3),
        "clock": row.clock,
        "clock_share": round(row.clock_share, 3),
    }


def calibration_text(
    rows: Sequence[Calibrated],
    catalogue: dict[str, Species],
    units: str,
    skills: Sequence[TrackRecord] = (),
    habits: Sequence[WorkHabit] = (),
    leaves: Sequence[LeafHabit] = (),
) -> str:
    """The calibration as text at 80 columns: a block a species, a line a step, and how it would have done."""
    if not rows:
        return "Nothing to calibrate yet: there are no trees, or no looks at them."
    reference = "64 degF" if units == "F" else "18 degC"
    lines = [
        f"How long each step takes on average, in days at a steady {reference}; four in five",
        "that it lies between the two ends, wide where it is open which warmth counts:",
    ]
    for species in dict.fromkeys(row.species for row in rows):
        mine = [row for row in rows if row.species == species]
        known = catalogue.get(species)
        lines += ["", f"{species}{f' ({known.name})' if known else ''}, {mine[0].looks} looks"]
        lines += [_line(row) for row in mine]
        for leaf in leaves:
            if leaf.species == species:
                lines += textwrap.wrap(
                    _leaf_words(leaf, units), 80, initial_indent="  ", subsequent_indent="  "
                )
        for skill in skills:
            if skill.species == species:
                lines += _skill_lines(skill)
        for habit in habits:
            if habit.species == species:
                lines += textwrap.wrap(habit.words, 80, initial_indent="  ", subsequent_indent="  ")
    lines += [
        "",
        "error: how far a forecast made when the step begins usually misses, in an",
        "average season. guess: how much of the figure is still the catalogue's. open:",
        "waits that ended unfinished; they count as at least so long.",
    ]
    return "\n".join(lines)


def _line(row: Calibrated) -> str:
    middle, low, high = row.days
    seasons = f"{row.seasons} season{'' if row.seasons == 1 else 's'}"
    open_ends = f", {row.unfinished} open" if row.unfinished else ""
    span = f"{middle:.0f} ({low:.0f}-{high:.0f})"
    return (
        f"  {row.transition.words:27}{span:>12}  error {row.error_days:.0f}  guess {row.prior_share:4.0%}  "
        f"{seasons}{open_ends}"
    )


def _leaf_words(habit: LeafHabit, units: str) -> str:
    """How fast leaves come, and how many, in the garden's units; a degC-day is 1.8 degF-days."""
    number = f"{habit.leaves[0]:.1f} leaves to extended"
    flushes = f"from {habit.flushes} flush{'' if habit.flushes == 1 else 'es'} counted"
    if not habit.paced:  # counted only at the end: nothing was seen of the pace
        return f"{number[0].upper()}{number[1:]}, {flushes}."
    fahrenheit = units == "F"
    heat = habit.degree_days_a_leaf * (1.8 if fahrenheit else 1.0)
    base = habit.base * 1.8 + 32 if fahrenheit else habit.base
    return (
        f"A leaf each {habit.days_a_leaf[0]:.1f} days at {'64 degF' if fahrenheit else '18 degC'} "
        f"({heat:.0f} degree-days above {base:g}), {number}, {flushes}."
    )


def _skill_lines(skill: TrackRecord) -> list[str]:
    """Past forecasts against the usual date, in a sentence; honest when the weather added nothing."""
    ours, usual = round(skill.missed), round(skill.usual_missed)
    seen = f"on {skill.seasons} seasons it had not seen"
    if skill.weather_helps and ours < usual:
        words = f"Your usual date missed hardening by {usual} days, flushcast by {ours}, {seen}."
    elif skill.weather_helps:
        words = f"Flushcast did no better than your usual date, {usual} days off, {seen}."
    else:
        words = f"Your usual date did as well or better ({usual} days off, flushcast {ours}), {seen}."
    return textwrap.wrap(words, 80, initial_indent="  ", subsequent_indent="  ")


def observers_text(found: Sequence[Lateness]) -> str:
    """Who calls leaves hard later than whom; a difference that may be none is said to be so."""
    lines = [""]
    for one in found:
        flushes = f"{one.flushes} flush{'' if one.flushes == 1 else 'es'} seen by both"
        span = f"{one.low:.0f} to {one.high:.0f}"
        if one.clear:
            words = f"{one.second} calls leaves hard some {one.days:.0f} days later ({span}) than {one.first}"
        else:
            words = (
                f"{one.first} and {one.second} call leaves hard alike, as far as can be told ({span} days)"
            )
        lines += textwrap.wrap(f"{words}; {flushes}.", 80, subsequent_indent="  ")
    return (
        "\n".join(lines)
        if found
        else "\nNo flush was followed to hard leaves by two people, so nobody is compared."
    )
