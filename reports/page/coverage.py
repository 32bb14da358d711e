"""How well the weather of each place is known, in words and years, with the lines its sources ask for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from data_sources.weather.store.weather_store import WeatherStore
from phenology.garden import Garden
from phenology.model.errors import WeatherError
from phenology.weather.series import DailyWeather
from reports.text.words import weekday_full_date

_SOURCE_WORDS = {
    "bench": "from your own thermometer",
    "station": "from a weather station",
    "model": "from a weather model",
    "filled": "filled in",
}
NEARLY_WHOLE = 0.9  # a year with a smaller share of its days known is called thin (ours)


@dataclass(frozen=True)
class PlaceWeather:
    """How well a place's weather is known.

    Attributes
    ----------
    name, words : str
    years : tuple of (int, float)
        Each calendar year with the share of its days, up to today, that is known.
    attributions : tuple of str
        Lines that its sources ask to be shown.
    """

    name: str
    words: str
    years: tuple[tuple[int, float], ...]
    attributions: tuple[str, ...]

    @property
    def picture_words(self) -> str:
        """What the strip of years shows."""
        thin = [str(year) for year, share in self.years if share < NEARLY_WHOLE]
        told = f"Much is missing in {', '.join(thin)}." if thin else "Every year is nearly whole."
        return f"Weather by year, {self.years[0][0]} to {self.years[-1][0]}. {told}"


def weather_of(folder: Path, garden: Garden) -> list[PlaceWeather]:
    """Coverage of every place, and its attributions."""
    lines: dict[str, tuple[str, ...]] = {}
    try:
        with WeatherStore.open(folder) as store:
            for place in garden.places:
                if store.has(place.id):
                    lines[place.id] = tuple(store.attribution_lines(place.id))
    except WeatherError:
        pass
    return [
        _coverage(place.name, garden.weather[place.id], lines.get(place.id, ()))
        if place.id in garden.weather
        else PlaceWeather(place.name, f"No weather yet: flushcast weather add FILE {_at(place.name)}", (), ())
        for place in garden.places
    ]


def _at(name: str) -> str:
    return f'--place "{name}"'


def _coverage(name: str, weather: DailyWeather, lines: Sequence[str]) -> PlaceWeather:
    known = np.isfinite(weather.tmin) & np.isfinite(weather.tmax)
    ahead = known & (weather.source == "forecast")
    measured = known & ~ahead
    if not measured.any():
        return PlaceWeather(name, f"Nothing measured yet{_forecast_ends(weather, ahead)}.", (), tuple(lines))
    last = int(np.flatnonzero(measured)[-1])
    past = slice(0, last + 1)
    missing = int((~measured[past]).sum())
    gaps = f"{_days(missing)} missing" if missing else "no day missing"
    return PlaceWeather(
        name,
        f"{weather.first_day.year} to {weekday_full_date(_day(weather, last))}: "
        f"{_counts(weather, measured)}; {gaps}{_forecast_ends(weather, ahead)}.",
        _years(weather, measured[past]),
        tuple(lines),
    )


def _counts(weather: DailyWeather, measured: NDArray[np.bool_]) -> str:
    told = (
        (str(s), int((measured & (weather.source == s)).sum())) for s in np.unique(weather.source[measured])
    )
    return ", ".join(f"{_days(n)} {_SOURCE_WORDS.get(s, s)}" for s, n in told)


def _forecast_ends(weather: DailyWeather, ahead: NDArray[np.bool_]) -> str:
    if not ahead.any():
        return ""
    return f". Then a forecast to {weekday_full_date(_day(weather, int(np.flatnonzero(ahead)[-1])))}"


def _years(weather: DailyWeather, known: NDArray[np.bool_]) -> tuple[tuple[int, float], ...]:
    year = np.array([_day(weather, n).year for n in range(len(known))])
    return tuple((int(y), float(known[year == y].mean())) for y in np.unique(year))


def _day(weather: DailyWeather, n: int) -> date:
    return weather.first_day + timedelta(days=n)


def _days(n: int) -> str:
    return f"{n:,} {'day' if n == 1 else 'days'}"
