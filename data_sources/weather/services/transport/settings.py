"""What can be set about weather services: which, in what order, where they live, how they are called."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

from phenology.model.errors import InputError

USUAL_ORDER = (
    "meteostat",
    "open-meteo-forecast",
    "open-meteo-archive",
    "met-norway",
    "ghcn-daily",
    "ncei-daily",
)
NAMES = (*USUAL_ORDER, "open-meteo-ensemble")


@dataclass(frozen=True)
class WeatherSettings:
    """Settings of the weather services."""

    sources: tuple[str, ...] = USUAL_ORDER  # services in the order they are tried
    addresses: Mapping[str, str] = field(default_factory=dict)  # service to address, where it has moved
    cache_folder: Path | None = None  # where answers are kept; None keeps them in memory
    years: int = 30  # of history
    stations: int = 4  # how many stations are blended
    radius_km: float = 50.0  # how far away they may be
    station_ids: tuple[str, ...] = ()  # stations to use instead of the nearest (as their service names them)
    # models of Open-Meteo; the archive is held to one: another would look like another climate
    archive_model: str = "era5_seamless"
    ensemble_model: str = "icon_seamless_eps"
    past_days: int = 10
    forecast_days: int = 16
    api_key: str = ""  # for Open-Meteo's paid service; its own address must be set as well
    # the program, and how to reach the grower; some services insist on it
    agent: str = "flushcast"
    contact: str = ""
    # for the connection, for the next byte, for the whole answer [s]
    connect_timeout: float = 6.0
    read_timeout: float = 30.0
    whole_timeout: float = 120.0
    budget: float = 180.0  # for a whole update; one answer may take half of what is left of it [s]
    pause: float = 0.2  # between two requests to one host [s]
    longest_wait: float = 65.0  # a service that asks for more than this is left alone [s]
    largest: int = 80_000_000  # bytes of an answer
    proxies: Mapping[str, str] = field(default_factory=dict)  # by scheme; default: the system's

    @property
    def user_agent(self) -> str:
        """What the service reads as the caller's name."""
        return f"{self.agent} {self.contact}".strip()

    @classmethod
    def from_table(cls, table: Mapping[str, Any], base: WeatherSettings | None = None) -> WeatherSettings:
        """The settings with those of a table of `garden.toml` laid over.

        Raises `InputError` if a key is unknown, or a value is not of the kind it must be.

        Examples
        --------
        >>> WeatherSettings.from_table({"stations": 2, "read_timeout": 10}).read_timeout
        10.0
        """
        base = base or cls()
        known = {f.name: getattr(base, f.name) for f in fields(cls)}
        _refuse_unknown("weather setting", table, sorted(known))
        made = replace(base, **{key: _like(key, value, known[key]) for key, value in table.items()})
        _refuse_unknown("weather service to give an address", made.addresses, NAMES)
        for name, address in made.addresses.items():
            if not re.match(r"https?://[^/\s\[\]@]+(/\S*)?$", address):
                why = f"must begin with https:// and a host, not '{address}'"
                raise InputError(f"the address of {name} {why}")
        return made


def _refuse_unknown(what: str, table: Mapping[str, Any], names: Sequence[str]) -> None:
    for key in table:
        if key not in names:
            from phenology.language.words import near_words

            near = near_words(key, {name: name for name in names})
            better = f"did you mean {' or '.join(near)}?" if near else f"they are {', '.join(names)}"
            raise InputError(f"there is no {what} '{key}'; {better}")


def _like(key: str, value: Any, example: Any) -> Any:
    """A value of the kind that a setting has."""
    if key == "cache_folder":
        example = ""
    match example, value:
        case tuple(), list() | tuple() if all(isinstance(v, str) for v in value):
            return tuple(value)
        case Mapping(), Mapping() if all(isinstance(v, str) for v in value.values()):
            return dict(value)
        case str(), str():
            return Path(value).expanduser() if key == "cache_folder" else value
        case int() | float(), int() | float() if not isinstance(value, bool) and value >= 0:
            return type(example)(value)
    kinds = ((tuple, "a list of texts"), (Mapping, "a table of texts"), (str, "a text"))
    wanted = next((words for kind, words in kinds if isinstance(example, kind)), "a number, 0 or more")
    raise InputError(f"the weather setting '{key}' must be {wanted}, not {value!r}")
