"""A garden's forecast as JSON (schema flushcast.forecast/1) and as CSV."""

from __future__ import annotations

import csv
import io
import json
import math
from datetime import date
from typing import Any

from phenology.advice.forecast_rows import ForecastRow, GardenForecast, quantile_dates
from phenology.forecasting.arrival import LEVELS

SCHEMA = "flushcast.forecast/1"
QUANTILES = tuple(f"p{round(level * 100)}" for level in LEVELS)


def forecast_record(forecast: GardenForecast, units: str) -> dict[str, Any]:
    """The forecast as plain data; dates are ISO or null."""
    through = forecast.garden.weather_through()
    return {
        "schema": SCHEMA,
        "as_of": forecast.garden.as_of.isoformat(),
        "units": units,
        "weather": {
            "through": through.isoformat() if through else None,
            "days_by_source": days_by_source(forecast),
            "attribution": list(forecast.garden.attribution),
        },
        "warnings": list(forecast.warnings),
        "rows": [row_record(row, forecast) for row in forecast.rows],
    }


def days_by_source(forecast: GardenForecast) -> dict[str, int]:
    """Days of this season by where their weather came from, over all places."""
    garden = forecast.garden
    start = garden.calendar.start(garden.season)
    counts: dict[str, int] = {}
    for series in forecast.garden.weather.values():
        if series.last_day < start:
            continue
        part = series.between(max(start, series.first_day), series.last_day)
        for source, days in part.coverage().by_source.items():
            if days:
                counts[source] = counts.get(source, 0) + days
    return counts


def row_record(row: ForecastRow, forecast: GardenForecast) -> dict[str, Any]:
    """One row of the forecast as plain data."""
    dates = quantile_dates(row, forecast.garden)
    return {
        "tree": row.tree.id,
        "label": row.tree.label,
        "species": row.tree.species,
        "place": row.place,
        "season": forecast.garden.calendar.label(row.season),
        "flush": row.flush,
        "stage": row.stage,
        "operation": row.operation,
        "seen": [_iso(day) for day in row.seen],
        "look_on": row.look_on.isoformat(),
        **{name: _iso(day) for name, day in dates.items()},
        "day": {name: _rounded(row.day(level)) for name, level in zip(QUANTILES, LEVELS, strict=True)},
        "p_not": None if row.arrival is None else round(row.arrival.p_not, 4),
        "last_safe": _iso(row.advice.last_safe) if row.advice else None,
        "odds": _odds(row),
        "looks": row.looks,
        "seasons": row.trust.seasons,
        "prior_share": round(row.trust.prior_share, 3),
        "trust": row.trust.words,
        "warnings": list(row.warnings),
    }


def forecast_json(forecast: GardenForecast, units: str) -> str:
    """The forecast as JSON text."""
    return json.dumps(forecast_record(forecast, units), ensure_ascii=False, indent=2)


def forecast_csv(forecast: GardenForecast) -> str:
    """The forecast as CSV text, one line a row; empty cells where a quantile lies beyond 1 - p_not."""
    out = io.StringIO()
    columns = ["label", "species", "place", "season", "flush", "stage", "operation", "seen_after", "seen_by"]
    columns += ["look_on", *QUANTILES, "p_not", "last_safe", "looks", "seasons", "prior_share", "trust"]
    writer = csv.DictWriter(out, [*columns, "warnings"], extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    for row in forecast.rows:
        record = row_record(row, forecast)
        record["seen_after"], record["seen_by"] = record["seen"]
        record["warnings"] = "; ".join(record["warnings"])
        writer.writerow(record)
    return out.getvalue()


def _odds(row: ForecastRow) -> dict[str, float | None]:
    """Odds that new growth ripens if the work is done today, in two weeks, in three."""
    odds = (row.advice.odds if row.advice else None) or (None, None, None)
    names = ("today", "in_14_days", "in_21_days")
    return {name: None if p is None else round(p, 3) for name, p in zip(names, odds, strict=True)}


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None


def _rounded(t: float | None) -> float | None:
    """Two decimals, upwards, so that the day printed beside it stays its ceiling."""
    return None if t is None else math.ceil(round(t * 100, 6)) / 100
