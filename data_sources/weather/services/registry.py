"""The services by name, made when they are needed."""

from __future__ import annotations

from collections.abc import Sequence

from data_sources.weather.services.forecasts.met_norway import MetNorway
from data_sources.weather.services.forecasts.open_meteo import (
    OpenMeteoArchive,
    OpenMeteoEnsemble,
    OpenMeteoForecast,
)
from data_sources.weather.services.protocol.service import Service
from data_sources.weather.services.stations.meteostat import Meteostat
from data_sources.weather.services.stations.noaa import GhcnDaily, NceiDaily
from data_sources.weather.services.transport.http import Http
from data_sources.weather.services.transport.settings import WeatherSettings
from phenology.model.errors import UnknownNameError

SERVICES: dict[str, type[Service]] = {
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

    Raises `UnknownNameError` if there is none of that name.
    """
    made = []
    for name in names if names is not None else settings.sources:
        if name not in SERVICES:
            from phenology.language.words import near_words

            near = near_words(name, {key: key for key in SERVICES})
            raise UnknownNameError("weather service", name, tuple(near) or tuple(SERVICES))
        made.append(SERVICES[name](settings, http))
    return made
