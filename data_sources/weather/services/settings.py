"""What can be set about weather services: which, in what order, where they live, how they are called."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from data_sources.weather.services.http import HttpSettings
from phenology.model.errors import InputError

USUAL_ORDER = (
    "meteostat",
    "open-meteo-forecast",
    "open-meteo-archive",
    "met-norway",
    "ghcn-daily",
    "ncei-daily",
)

ADDRESSES: Mapping[str, str] = {
    "meteostat": "https://data.meteostat.net",
    "open-meteo-forecast": "https://api.open-meteo.com/v1/forecast",
    "open-meteo-archive": "https://archive-api.open-meteo.com/v1/archive",
    "open-meteo-ensemble": "https://ensemble-api.open-meteo.com/v1/ensemble",
    "met-norway": "https://api.met.no/weatherapi/locationforecast/2.0/complete",
    "ghcn-daily": "https://www.ncei.noaa.gov/pub/data/ghcn/daily",
    "ncei-daily": "https://www.ncei.noaa.gov/access/services/data/v1",
}


@dataclass(frozen=True)
class WeatherSettings:
    """Settings of the weather services.

    Attributes
    ----------
    sources : tuple of str
        Services in the order they are tried.
    addresses : mapping
        Service to address, where it differs from `ADDRESSES`.
    http : HttpSettings
    cache_folder : Path or None
        Where answers and station files are kept; None: a folder that is gone afterwards.
    years : int
        Of history.
    stations : int
        How many stations are blended.
    radius_km : float
        How far away they may be.
    station_ids : tuple of str
        Stations to use instead of the nearest (as their service names them).
    archive_model, ensemble_model : str
        Models of Open-Meteo; the archive is held to one: another model would look like another climate.
    past_days, forecast_days : int
        What is asked of a forecast.
    api_key : str
        For Open-Meteo's paid service; its own address must be set as well.
    """

    sources: tuple[str, ...] = USUAL_ORDER
    addresses: Mapping[str, str] = field(default_factory=dict)
    http: HttpSettings = field(default_factory=HttpSettings)
    cache_folder: Path | None = None
    years: int = 30
    stations: int = 4
    radius_km: float = 50.0
    station_ids: tuple[str, ...] = ()
    archive_model: str = "era5_seamless"
    ensemble_model: str = "icon_seamless_eps"
    past_days: int = 10
    forecast_days: int = 16
    api_key: str = ""

    def address(self, name: str) -> str:
        """Where a service lives."""
        return self.addresses.get(name, ADDRESSES[name]).rstrip("/")

    @classmethod
    def from_table(cls, table: Mapping[str, Any], base: WeatherSettings | None = None) -> WeatherSettings:
        """The settings with those of a table of `garden.toml` laid over.

        Raises
        ------
        InputError
            If a key is unknown, or a value is not of the kind it must be.

        Examples
        --------
        >>> WeatherSettings.from_table({"stations": 2, "read_timeout": 10}).http.read_timeout
        10.0
        """
        base = base or cls()
        own = {f.name: getattr(base, f.name) for f in fields(cls) if f.name != "http"}
        calls = {f.name: getattr(base.http, f.name) for f in fields(HttpSettings) if f.name != "cache_folder"}
        changed_own, changed_calls = {}, {}
        for key, value in table.items():
            if key in own:
                changed_own[key] = _like(key, value, own[key])
            elif key in calls:
                changed_calls[key] = _like(key, value, calls[key])
            else:
                known = ", ".join(sorted([*own, *calls]))
                raise InputError(f"there is no weather setting '{key}'; they are {known}")
        return replace(base, **changed_own, http=replace(base.http, **changed_calls))


def _like(key: str, value: Any, example: Any) -> Any:
    """A value of the kind that a setting has."""
    if key == "cache_folder" and isinstance(value, str):
        return Path(value).expanduser()
    if key == "proxies" and isinstance(value, Mapping):
        return {str(k): str(v) for k, v in value.items()}
    if isinstance(example, tuple):
        good = isinstance(value, list | tuple) and all(isinstance(v, str) for v in value)
        wanted, made = "a list of texts", tuple(value) if good else ()
    elif isinstance(example, Mapping):
        good = isinstance(value, Mapping) and all(isinstance(v, str) for v in value.values())
        wanted, made = "a table of texts", dict(value) if good else {}  # type: ignore[assignment]
    elif isinstance(example, str):
        good, wanted, made = isinstance(value, str), "a text", value
    else:
        good = isinstance(value, int | float) and not isinstance(value, bool) and value >= 0
        wanted, made = "a number, 0 or more", type(example)(value) if good else 0  # type: ignore[assignment]
    if not good:
        raise InputError(f"the weather setting '{key}' must be {wanted}, not {value!r}")
    return made
