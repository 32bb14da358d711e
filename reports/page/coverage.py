"""How well the weather of each place is known, in words and years, with the lines its sources ask for."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
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
class PlaceCoverage:
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
        words = f"Much is missing in {', '.join(thin)}." if thin else "Every year is nearly whole."
        return f"Weather by year, {self.years[0][0]} to {self.years[-1][0]}. {words}"


def weather_of(folder: Path, garden: Garden) -> list[PlaceCoverage]:
    """Coverage of every place, and its attributions."""
    lines: dict[str, list[str]] = {}
    with suppress(WeatherError), WeatherStore.open(folder) as store:
        lines = {p.id: store.attribution_lines(p.id) for p in garden.places if store.has(p.id)}
    return [
        _coverage(place.name, garden.weather[place.id], lines.get(place.id, ()))
        if place.id in garden.weather
        else PlaceCoverage(
            place.name, f'No weather yet: flushcast weather add FILE --place "{place.name}"', (), ()
        )
        for place in garden.places
    ]


def _coverage(name: str, weather: DailyWeather, lines: Sequence[str]) -> PlaceCoverage:
    ahead = weather.known & (weather.source == "forecast")
    measured = weather.known & ~ahead
    then = f". Then a forecast to {weekday_full_date(_last(weather, ahead))}" if ahead.any() else ""
    if not measured.any():
        return PlaceCoverage(name, f"Nothing measured yet{then}.", (), tuple(lines))
    last = _last(weather, measured)
    known = measured[: (last - weather.first_day).days + 1]
    missing = int((~known).sum())
    sources = zip(*np.unique(weather.source[measured], return_counts=True), strict=True)
    counts = ", ".join(f"{_days(n)} {_SOURCE_WORDS.get(source, source)}" for source, n in sources)
    gaps = f"{_days(missing)} missing" if missing else "no day missing"
    year = np.array([date.fromordinal(int(ordinal)).year for ordinal in weather.ordinals[: len(known)]])
    return PlaceCoverage(
        name,
        f"{weather.first_day.year} to {weekday_full_date(last)}: {counts}; {gaps}{then}.",
        tuple((int(y), float(known[year == y].mean())) for y in np.unique(year)),
        tuple(lines),
    )


def _last(weather: DailyWeather, which: NDArray[np.bool_]) -> date:
    return date.fromordinal(int(weather.ordinals[which][-1]))


def _days(n: int) -> str:
    return f"{n:,} {'day' if n == 1 else 'days'}"
