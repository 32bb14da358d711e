"""What was read from a weather file and how: shown to the grower before anything is kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from phenology.weather.series import DailyWeather, WeatherCoverage


@dataclass(frozen=True)
class FileReport:
    """How a weather file was understood."""

    file: str
    shape: str  # "daily table", "thermometer log", "GHCN-Daily" or "NCEI daily summaries"
    units: str  # "C", "F" or "tenths" (of a °C), as stated
    coverage: WeatherCoverage
    columns: Mapping[str, str] = field(default_factory=dict)
    date_order: str | None = None  # order of day and month where dates needed one
    left_out: Mapping[str, int] = field(default_factory=dict)  # values that were there and were not taken
    notes: tuple[str, ...] = ()  # what else the grower should know
    station: str = ""
    attribution: str = ""

    def lines(self) -> list[str]:
        """The report in words, the coverage first."""
        units = {"C": "°C", "F": "°F", "tenths": "tenths of a °C"}[self.units]
        columns = ", ".join(f"{role} from '{name}'" for role, name in self.columns.items() if role != name)
        read = f"read as {self.shape} in {units}" + (f", dates {self.date_order}" if self.date_order else "")
        out = [self.coverage.line(), read + (f"; {columns}" if columns else "")]
        out += [f"left out: {reason} ({count:,})" for reason, count in self.left_out.items() if count]
        return out + list(self.notes)


def middle_notes(weather: DailyWeather) -> tuple[str, ...]:
    """A warning when a day's middle is hotter than any air: the sign of degrees Fahrenheit or full sun."""
    middle = (weather.tmin + weather.tmax) / 2
    hot = np.flatnonzero(middle > 45)
    if not len(hot):
        return ()
    day = weather.first_day.fromordinal(int(weather.ordinals[hot[0]]))
    why = "was it °F, or the sensor in the sun?"
    return (f"check the unit: the middle of {day} is {middle[hot[0]]:.0f} °C ({why})",)
