"""The science and the rules of flushcast: arrays, frames and records in; results out.

Pure: no files, no network, no clock, no printing. Names are loaded when first used, so
``import phenology`` costs nothing.

Examples
--------
>>> import phenology
>>> phenology.degree_days([5.0, 12.0], [15.0, 22.0], base=10.0).round(4)
array([1.5915, 7.    ])
"""

from __future__ import annotations

import importlib
from typing import Any

_WHERE: dict[str, str] = {
    # heat and light
    "degree_days": "thermal_time",
    "degree_days_hourly": "thermal_time",
    "wang_engel": "temperature_response",
    "Clock": "clocks",
    "CLOCKS": "clocks",
    # weather and seasons
    "DailyWeather": "weather_series",
    "check_weather_frame": "weather_series",
    "synthetic_weather": "climate",
    "SeasonCalendar": "season",
    "SeasonWeather": "season_weather",
    "draw_traces": "traces",
    # species and records
    "load_species": "species",
    "find_species": "species",
    "Species": "species",
    "Place": "records",
    "Tree": "records",
    "Stand": "records",
    "Aim": "records",
    "Flush": "records",
    "Look": "records",
    "Work": "records",
    # learning and forecasting
    "Wait": "waits",
    "RequirementModel": "requirement",
    "Requirement": "requirement",
    "Arrival": "arrival",
    "arrival_of": "arrival",
    "Garden": "garden",
    "GardenFit": "garden_fit",
    "forecast_garden": "garden_forecast",
    "calibrate": "calibration",
    "compare_seasons": "compare",
    "past_skill": "garden_hindcast",
    # judging
    "DatedSight": "hindcast",
    "Question": "hindcast",
    "score_dates": "verification",
    "paired_by_season": "verification",
    "FlushcastError": "errors",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'phenology' has no attribute '{name}'")
    return getattr(importlib.import_module(f"phenology.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
