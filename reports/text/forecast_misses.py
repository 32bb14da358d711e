"""How far off the last forecasts were, told under every forecast, and what this one tells, kept for later."""

from __future__ import annotations

from pathlib import Path

from data_sources.kept.issued_forecasts import keep_told, read_told
from phenology.advice.forecast_change import changed_since, misses, told_by
from phenology.advice.forecast_rows import GardenForecast
from reports.text.change_text import changes_text


def tell_misses(folder: Path, forecast: GardenForecast) -> str:
    """Misses since an earlier forecast in sentences; empty where there are none.

    The earlier one is the newest told before the last look and a week ago at least, or else the oldest that
    is remembered of this season.
    """
    garden = forecast.garden
    today, season = garden.as_of, garden.season
    told = {
        day: stages
        for day, stages in read_told(folder).items()
        if day < today and garden.calendar.season_of(day) == season
    }
    keep_told(folder, today, told_by(forecast))
    if not told:
        return ""
    wanted = [day for day in told if day <= changed_since(garden)] or [min(told)]
    since = max(wanted)
    found = misses(told[since], forecast)
    return changes_text(found, since) if found else ""
