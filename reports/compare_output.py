"""Seasons side by side, as text, JSON and CSV."""

from __future__ import annotations

import csv
import io
import json
from collections import defaultdict
from collections.abc import Iterator, Mapping
from typing import Any

from phenology.seasons.compare import BASE_C, Comparison, SeasonHeat, StageDate, stage_day
from phenology.units import c_to_f, degree_days_c_to_f
from reports.words import short_date

SCHEMA = "flushcast.compare/1"


def compare_record(comparison: Comparison, units: str) -> dict[str, Any]:
    """The comparison as plain data; heat in the garden's units, dates ISO."""
    garden = comparison.garden
    return {
        "schema": SCHEMA,
        "as_of": garden.as_of.isoformat(),
        "units": units,
        "place": comparison.place,
        "base": float(c_to_f(BASE_C)) if units == "F" else BASE_C,
        "seasons": [_heat_record(h, comparison, units) for h in comparison.heat],
        "stages": [_stage_record(s, comparison) for s in comparison.stages],
    }


def _heat_record(h: SeasonHeat, comparison: Comparison, units: str) -> dict[str, Any]:
    calendar = comparison.garden.calendar
    return {
        "season": calendar.label(h.season),
        "through": calendar.date(h.season, h.through).isoformat(),
        "degree_days": round(_heat(h.heat, units), 1),
        "rank": h.rank,
        "days_ahead": None if h.ahead is None else round(h.ahead, 1),
        "days_filled": h.filled,
    }


def _stage_record(s: StageDate, comparison: Comparison) -> dict[str, Any]:
    return {
        "species": s.species,
        "flush": s.flush,
        "stage": s.stage,
        "season": comparison.garden.calendar.label(s.season),
        "date": stage_day(s, comparison.garden).isoformat(),
        "day": round(s.day, 1),
        "trees": s.trees,
        "days_ahead": None if s.ahead is None else round(s.ahead, 1),
    }


def compare_json(comparison: Comparison, units: str, more: Mapping[str, Any] | None = None) -> str:
    """The comparison as JSON text, and what else there is to tell of the seasons."""
    return json.dumps({**compare_record(comparison, units), **(more or {})}, ensure_ascii=False, indent=2)


def compare_csv(comparison: Comparison) -> str:
    """The stage dates as CSV text, one line a species, flush, stage and season."""
    out = io.StringIO()
    columns = ["species", "flush", "stage", "season", "date", "day", "trees", "days_ahead"]
    writer = csv.DictWriter(out, columns, lineterminator="\n")
    writer.writeheader()
    for stage in comparison.stages:
        writer.writerow(_stage_record(stage, comparison))
    return out.getvalue()


def compare_text(comparison: Comparison, units: str) -> str:
    """The comparison as text at 80 columns: heat first, then the dates by species."""
    garden = comparison.garden
    base = f"{c_to_f(BASE_C):.0f} degF" if units == "F" else f"{BASE_C:.0f} degC"
    until = garden.calendar.date(garden.season, garden.today)
    lines = [
        f"Warmth from the season's start to {short_date(until)}, degree-days above {base}, {comparison.place}"
    ]
    lines.append(f"{'season':10}{'heat':>8}{'rank':>6}  against the usual season")
    for h in comparison.heat:
        note = f"  ({h.filled} days filled)" if h.filled else ""
        season, heat = garden.calendar.label(h.season), _heat(h.heat, units)
        lines.append(f"{season:10}{heat:8.0f}{h.rank:6}  {_ahead(h.ahead)}{note}")
    if not comparison.stages:
        return "\n".join([*lines, "", "No stage was seen to come between two looks in these seasons."])
    lines += ["", *_stage_lines(comparison)]
    if any(s.ahead is not None for s in comparison.stages):
        lines += ["", "Days ahead (+) of or behind (-) the mean of the other seasons stand beside each date."]
    return "\n".join(lines)


def _heat(heat: float, units: str) -> float:
    return float(degree_days_c_to_f(heat)) if units == "F" else heat


def _ahead(days: float | None) -> str:
    if days is None:
        return "too few seasons to say"
    rounded = round(days)
    if rounded == 0:
        return "as usual"
    unit = "day" if abs(rounded) == 1 else "days"
    return f"{abs(rounded)} {unit} {'ahead' if rounded > 0 else 'behind'}"


def _stage_lines(comparison: Comparison) -> Iterator[str]:
    garden, seasons = comparison.garden, comparison.seasons[-5:]
    rows: dict[tuple[str, int, str], dict[int, StageDate]] = defaultdict(dict)
    for stage in comparison.stages:
        rows[stage.species, stage.flush, stage.stage][stage.season] = stage
    yield " " * 18 + "".join(f"{garden.calendar.label(s):>12}" for s in seasons)
    species = None
    for (latin, flush, name), by_season in rows.items():
        if latin != species:
            species = latin
            known = garden.species.get(latin)
            yield f"{latin}{f' ({known.name})' if known else ''}"
        row = f"  {name}" + (f", flush {flush}" if flush > 1 else "")
        yield f"{row:18}" + "".join(_cell(by_season.get(s), comparison) for s in seasons)


def _cell(stage: StageDate | None, comparison: Comparison) -> str:
    if stage is None:
        return f"{'.':>12}"
    day = short_date(stage_day(stage, comparison.garden))
    ahead = "" if stage.ahead is None else f" {round(stage.ahead):+d}"
    return f"{day + ahead:>12}"
