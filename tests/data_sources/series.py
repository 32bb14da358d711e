"""What tells one daily series from another."""

from __future__ import annotations

from phenology.weather.series import DailyWeather


def fingerprint(weather: DailyWeather) -> tuple[object, ...]:
    """Differs when any day, value or source differs; a value that is unknown in both is no difference."""
    return weather.first_day, weather.tmin.tobytes(), weather.tmax.tobytes(), tuple(weather.source)
