"""Invented climates, from a cool short season to the subtropics and the south. All numbers are ours."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from data_sources.demo.climate import synthetic_weather
from phenology.model.season import SeasonCalendar
from phenology.weather.series import DailyWeather


@dataclass(frozen=True)
class Climate:
    """A climate to grow in.

    Attributes
    ----------
    name : str
    latitude : float
        [degrees, north positive]
    mean, amplitude, diurnal : float
        Of the year, half the difference between its warmest and coldest time, and of a day. [°C]
    warming_per_decade : float
        [°C per 10 years]
    """

    name: str
    latitude: float
    mean: float
    amplitude: float
    diurnal: float
    warming_per_decade: float = 0.25

    @property
    def calendar(self) -> SeasonCalendar:
        """The seasons of its hemisphere."""
        return SeasonCalendar.for_latitude(self.latitude)

    def weather(self, start: date, end: date, seed: int) -> DailyWeather:
        """Its daily weather; the same seed gives the same days."""
        return synthetic_weather(
            start,
            end,
            self.latitude,
            mean=self.mean,
            amplitude=self.amplitude,
            diurnal=self.diurnal,
            warming_per_decade=self.warming_per_decade,
            seed=seed,
        )


CLIMATES: tuple[Climate, ...] = (
    Climate("cool, short season", 60.0, 5.5, 11.0, 9.0),
    Climate("mild oceanic", 52.0, 10.5, 7.0, 8.0),
    Climate("continental", 47.0, 9.5, 12.5, 11.0),
    Climate("warm-temperate", 36.0, 15.0, 11.0, 10.0),
    Climate("subtropical", 27.0, 21.0, 7.0, 9.0),
    Climate("southern temperate", -37.0, 14.0, 6.5, 10.0),
)
