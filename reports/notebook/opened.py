"""What the frames of a garden are taken from: its records and weather, read once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from data_sources.garden import GardenSettings
from data_sources.journal.changes import Change
from phenology.advice.forecast_rows import GardenForecast
from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.judging.past_forecasts import EVERY_DAYS, past_forecasts
from phenology.learning.garden_fit import GardenFit
from phenology.model.errors import InputError, WeatherError
from phenology.model.records import Place
from phenology.model.track_record import PastForecast, TrackRecord
from phenology.species.catalogue import find_species
from phenology.weather.season_weather import SeasonWeather
from phenology.weather.series import DailyWeather
from reports.garden.station_pair import StationPair


@dataclass(frozen=True, eq=False)
class Opened:
    """A garden as it was read; nothing here writes.

    Attributes
    ----------
    snapshot : phenology.Garden
        Records and weather on `as_of`, for whoever goes on with the functions of `phenology`.
    settings : GardenSettings
    read_past : callable
        Gives the past forecasts of the garden; asked when a forecast is first wanted.
    read_history : callable
        Gives the changes of the journal, newest first.
    read_pair : callable
        Gives a place's own readings beside the station's.
    """

    snapshot: Garden
    settings: GardenSettings
    read_past: Callable[[], list[PastForecast]]
    read_history: Callable[[], list[Change]]
    read_pair: Callable[[Place], StationPair]

    def __repr__(self) -> str:
        garden = self.snapshot
        return (
            f"<{self.settings.name or 'garden'}: {len(garden.trees)} trees, {len(garden.looks)} looks, "
            f"as of {garden.as_of.isoformat()}>"
        )

    @property
    def as_of(self) -> date:
        """The day on which the garden stands."""
        return self.snapshot.as_of

    @cached_property
    def judged(self) -> Garden:
        """The snapshot, with how its past forecasts did: what the forecast is made from."""
        return replace(self.snapshot, skills=TrackRecord.of(self._past_forecasts(None)))

    @cached_property
    def outlook(self) -> GardenForecast:
        """The forecast behind the frames, as `phenology.forecast_garden` gives it."""
        return forecast_garden(self.judged)

    @cached_property
    def fit(self) -> GardenFit:
        """What the records teach, as `phenology.GardenFit` gives it."""
        return GardenFit(self.snapshot)

    @cached_property
    def _past(self) -> dict[int, list[PastForecast]]:
        return {}

    def _past_forecasts(self, species: str | None, every: int = EVERY_DAYS) -> list[PastForecast]:
        """Past forecasts of a species as a grower calls it, reckoned once."""
        if every not in self._past:
            usual = every == EVERY_DAYS
            self._past[every] = self.read_past() if usual else past_forecasts(self.snapshot, every=every)
        latin = self._latin(species)
        return [one for one in self._past[every] if latin in (None, one.species)]

    def _place(self, name: str | None) -> Place:
        """A place by name or part of it; the first one without a name."""
        places = self.snapshot.places
        if name is None:
            return places[0]
        wanted = name.strip().casefold()
        found = [p for p in places if p.name.casefold() == wanted]
        found = found or [p for p in places if wanted in p.name.casefold()]
        if len(found) != 1:
            which = "several places fit" if found else "there is no place"
            raise InputError(f"{which} '{name}'; the places are {', '.join(p.name for p in places)}")
        return found[0]

    def _series(self, place: str | None) -> DailyWeather:
        where = self._place(place)
        if where.id not in self.snapshot.weather:
            raise WeatherError(
                f"there is no weather for {where.name} yet; add some with `flushcast weather add FILE`"
            )
        return self.snapshot.weather[where.id]

    def _record(self, place: str | None) -> SeasonWeather:
        """The weather of a place by seasons, some of it measured."""
        self._series(place)
        return self.snapshot.record_at(((0, self._place(place).id),))

    def _latin(self, text: str | None) -> str | None:
        """The Latin name that a grower's word means, of species that grow here first; None stays None."""
        if text is None:
            return None
        garden = self.snapshot
        kept = {t.species for t in garden.trees}
        if text in kept:
            return text
        try:
            return find_species(text, {n: s for n, s in garden.species.items() if n in kept}).latin
        except InputError:
            return find_species(text, garden.species).latin

    def _date(self, season: int, t: float | None) -> date | None:
        """The date of a time of a season; None where it is unknown or never."""
        if t is None or t != t or t in (float("inf"), float("-inf")):
            return None
        return self.snapshot.calendar.date(season, t)

    def _day_before(self, season: int, t: float) -> date | None:
        """The date of the look after which something came, for an `after` of (after, by]."""
        return self._date(season, t) if t >= 1 else None
