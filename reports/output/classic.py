"""The classic estimators as text and as JSON: for comparison only."""

from __future__ import annotations

import json
import math
import textwrap
from collections.abc import Sequence
from typing import Any

from phenology.learning.classic import ClassicBase
from phenology.learning.classic_garden import ClassicRow
from phenology.model.units import c_to_f, degree_days_c_to_f

SCHEMA = "flushcast.classic/1"
NAMES = {
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


def classic_json(rows: Sequence[ClassicRow]) -> str:
    """As JSON, in °C; null where the records set no limit."""
    record = {"schema": SCHEMA, "for_comparison_only": True, "rows": [_record(row) for row in rows]}
    return json.dumps(record, ensure_ascii=False, indent=2, allow_nan=False)


def _record(row: ClassicRow) -> dict[str, Any]:
    return {
        "species": row.species,
        "from": row.transition.start,
        "to": row.transition.target,
        "waits": row.waits,
        "seasons": row.seasons,
        "why_not": row.why_not or None,
        "estimates": [
            {
                "method": r.method,
                "base_c": round(r.base, 2),
                "requirement_c_days": round(r.requirement, 1),
                "base_c_interval": _limits(r.base_interval),
                "requirement_c_days_interval": _limits(r.requirement_interval),
            }
            for r in row.results
        ],
    }


def _limits(interval: tuple[float, float] | None) -> list[float | None] | None:
    return None if interval is None else [round(v, 2) if math.isfinite(v) else None for v in interval]


def classic_text(rows: Sequence[ClassicRow], units: str) -> str:
    """As text at 80 columns: a block a species and step, a line a method."""
    if not rows:
        return "No finished waits yet: nothing to compare with."
    degree = "degF" if units == "F" else "degC"
    lines = [
        f"Base ({degree}) and degree-days by four classic methods, for comparison only",
        f"{'':32}{'base':22}degree-days",
    ]
    for species in dict.fromkeys(row.species for row in rows):
        lines += ["", species]
        for row in (r for r in rows if r.species == species):
            waits = f"{row.waits} wait{'' if row.waits == 1 else 's'}"
            seasons = f"{row.seasons} season{'' if row.seasons == 1 else 's'}"
            lines.append(f"  {row.transition.words}, {waits} in {seasons}")
            lines += [_line(result, units) for result in row.results]
            if row.why_not:
                lines += textwrap.wrap(row.why_not, 80, initial_indent="    ", subsequent_indent="    ")
    return "\n".join([*lines, "", *textwrap.wrap(CLOSING, 80)])


def _line(result: ClassicBase, units: str) -> str:
    base, need = _base(result.base, units), _need(result.requirement, units)
    if result.base_interval is not None:
        base += _span(result.base_interval, units, _base)
    if result.requirement_interval is not None:
        need += _span(result.requirement_interval, units, _need)
    return f"    {NAMES[result.method]:28}{base:22}{need}"


def _span(interval: tuple[float, float], units: str, show: Any) -> str:
    if not any(map(math.isfinite, interval)):
        return " (no limit)"
    low, high = ("no limit" if not math.isfinite(v) else show(v, units) for v in interval)
    return f" ({low} to {high})"


def _base(value: float, units: str) -> str:
    return f"{round(float(c_to_f(value)) if units == 'F' else value, 1) + 0.0:.1f}"  # no -0.0


def _need(value: float, units: str) -> str:
    return f"{float(degree_days_c_to_f(value)) if units == 'F' else value:.0f}"
