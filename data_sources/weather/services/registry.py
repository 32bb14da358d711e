"""The services by name, made when they are needed."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from data_sources.weather.services.ghcn_daily import GhcnDaily
from data_sources.weather.services.http import Http
from data_sources.weather.services.met_norway import MetNorway
from data_sources.weather.services.meteostat_stations import Meteostat
from data_sources.weather.services.ncei_daily import NceiDaily
from data_sources.weather.services.open_meteo_archive import OpenMeteoArchive
from data_sources.weather.services.open_meteo_ensemble import OpenMeteoEnsemble
from data_sources.weather.services.open_meteo_forecast import OpenMeteoForecast
from data_sources.weather.services.protocol import Service
from data_sources.weather.services.settings import WeatherSettings
from phenology.model.errors import UnknownNameError

SERVICES: dict[str, Callable[[WeatherSettings, Http], Service]] = {
    one.name: one
    for one in (
        Meteostat,
        OpenMeteoForecast,
        OpenMeteoArchive,
        OpenMeteoEnsemble,
        MetNorway,
        GhcnDaily,
        NceiDaily,
    )
}


def make_services(settings: WeatherSettings, http: Http, names: Sequence[str] | None = None) -> list[Service]:
    """The services of a garden in its order (or those named).

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    made = []
    for name in names if names is not None else settings.sources:
        if name not in SERVICES:
            from phenology.language.words import near_words

            near = near_words(name, {key: key for key in SERVICES})
            raise UnknownNameError("weather service", name, tuple(near) or tuple(SERVICES))
        made.append(SERVICES[name](settings, http))
    return made
