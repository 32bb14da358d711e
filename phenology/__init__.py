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
    "degree_days": "heat.thermal_time",
    "degree_days_hourly": "heat.thermal_time",
    "wang_engel": "heat.temperature_response",
    "Clock": "heat.clocks",
    "CLOCKS": "heat.clocks",
    # weather and seasons
    "DailyWeather": "weather.series",
    "check_weather_frame": "weather.series",
    "SeasonCalendar": "model.season",
    "SeasonWeather": "weather.season_weather",
    "draw_traces": "weather.traces",
    # species and records
    "load_species": "species.catalogue",
    "find_species": "species.catalogue",
    "Species": "species.catalogue",
    "Place": "model.records",
    "Tree": "model.records",
    "Stand": "model.records",
    "Aim": "model.records",
    "Flush": "model.records",
    "Look": "model.records",
    "Work": "model.records",
    # learning and forecasting
    "Wait": "learning.waits",
    "RequirementModel": "learning.requirement",
    "Requirement": "learning.requirement",
    "species_table": "learning.requirement_table",
    "clock_table": "learning.requirement_table",
    "Arrival": "forecasting.arrival",
    "Step": "forecasting.propagation",
    "propagate": "forecasting.propagation",
    "Garden": "garden",
    "GardenFit": "learning.garden_fit",
    "forecast_garden": "advice.garden_forecast",
    "calibrate": "learning.calibration",
    "compare_seasons": "seasons.compare",
    "past_forecasts": "judging.past_forecasts",
    "TrackRecord": "model.track_record",
    # judging
    "DatedSight": "judging.hindcast",
    "Question": "judging.hindcast",
    "score_dates": "judging.verification",
    "paired_by_season": "judging.verification",
    "FlushcastError": "model.errors",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    if name not in _WHERE:
        raise AttributeError(f"module 'phenology' has no attribute '{name}'")
    return getattr(importlib.import_module(f"phenology.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    return [*globals(), *__all__]
