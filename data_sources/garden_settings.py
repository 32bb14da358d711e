"""The settings of a garden: `garden.toml`, read strictly and rewritten without losing a comment."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import Any

from data_sources.sqlite.errors import plain_errors
from data_sources.sqlite.files import sync_folder
from phenology.language.date_style import SHOWN_ORDERS, DateStyle
from phenology.language.written_days import DATE_ORDERS, DateOrder
from phenology.model.errors import InputError, StoreError

SETTINGS_NAME = "garden.toml"
UNITS = ("C", "F")
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_HEAD = "The garden's settings. Edit them here, or with 'flushcast settings'."


@dataclass(frozen=True)
class GardenSettings:
    """What is set for a whole garden.

    Attributes
    ----------
    name : str
        What the garden is called.
    units : {"C", "F"}
        How temperatures are shown; inside they are degC.
    season_start : str, optional
        "MM-DD", the first day of a season; default: that of the hemisphere.
    date_order : {"day-first", "month-first", "year-first"}, optional
        How dates are shown and 4/7 is read; default: shown day first; 4/7 is asked, or told from the file.
    odds : float
        How sure a woken flush must be to ripen before the last safe date. [0.5-0.99]
    first_weekday : str, optional
        "monday" ... "sunday", on which weeks begin; default: Monday.
    weather_sources : tuple of str
        Weather services in the order they are asked; default (empty): the usual order.
    weather_services : mapping
        Settings of the weather services; see `data_sources.weather.services.transport.settings`.
    contact : str, optional
        An address that weather services which ask for one may be given.
    stands_on : date, optional
        The day on which a garden stands still (the demo garden); default: it follows the calendar.
    weeks_before_frost, least_daylength, hot_day : float
        When cuts stop, and what heat forbids them; see `phenology.model.limits.Limits`. [weeks, h, degC]
    away : tuple of str
        When nobody is home to water, as ISO 8601 intervals.
    species : mapping
        Latin name to the fields that differ here; see `phenology.species.catalogue.load_species`.
    """

    name: str = "Garden"
    units: str = "C"
    season_start: str | None = None
    date_order: str | None = None
    odds: float = 0.9
    first_weekday: str | None = None
    weather_sources: tuple[str, ...] = ()
    weather_services: Mapping[str, Any] = field(default_factory=dict)
    contact: str | None = None
    stands_on: date | None = None
    weeks_before_frost: float = 10.0
    least_daylength: float = 13.0
    hot_day: float = 33.0
    away: tuple[str, ...] = ()
    species: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def date_style(self) -> DateStyle:
        """How dates are written here and where weeks begin."""
        order = next((o for o in SHOWN_ORDERS if o == self.date_order), SHOWN_ORDERS[0])
        return DateStyle(order, WEEKDAYS.index(self.first_weekday or WEEKDAYS[0]))

    @property
    def reading_order(self) -> DateOrder | None:
        """How 4/7 reads here; None where nothing was settled, or the year comes first."""
        return next((o for o in DATE_ORDERS if o == self.date_order), None)


# key in the file (a dot: within a table): field, and what makes its value good, else raises InputError
def _text(value: Any) -> str:
    if isinstance(value, str) and value.strip():
        return value
    raise InputError("a text in quotes")


def _one_of(allowed: tuple[str, ...]) -> Callable[[Any], str]:
    def check(value: Any) -> str:
        for one in allowed:
            if isinstance(value, str) and value.casefold() == one.casefold():
                return one
        raise InputError(" or ".join(f'"{one}"' for one in allowed))

    return check


def _month_day(value: Any) -> str:
    said = 'a month and day such as "07-01", from "01-01" to "12-31" (29 February is not one)'
    if not isinstance(value, str) or not re.fullmatch(r"\d\d-\d\d", value):
        raise InputError(said)
    try:
        date(2025, int(value[:2]), int(value[3:]))
    except ValueError:
        raise InputError(said) from None
    return value


def _odds(value: Any) -> float:
    if isinstance(value, int | float) and not isinstance(value, bool) and 0.5 <= value <= 0.99:
        return float(value)
    raise InputError("a number from 0.5 to 0.99")


def _number(low: float, high: float) -> Callable[[Any], float]:
    def check(value: Any) -> float:
        if isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high:
            return float(value)
        raise InputError(f"a number from {low:g} to {high:g}")

    return check


def _intervals(value: Any) -> tuple[str, ...]:
    said = 'a list of intervals such as ["2026-08-01/2026-08-14"], first day before last'
    try:
        found = _names(value)
        ends = [[date.fromisoformat(end) for end in text.split("/")] for text in found]
    except ValueError:
        raise InputError(said) from None
    if not all(len(pair) == 2 and pair[0] <= pair[1] for pair in ends):
        raise InputError(said)
    return found


def _names(value: Any) -> tuple[str, ...]:
    if isinstance(value, list | tuple) and all(isinstance(v, str) and v.strip() for v in value):
        return tuple(value)
    raise InputError('a list of texts such as ["one", "another"]')


def _day(value: Any) -> date:
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    raise InputError("a date without quotes such as 2026-06-14")


def _services(value: Any) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise InputError("a table such as [weather.services]")
    if value:
        from data_sources.weather.services.transport.settings import WeatherSettings

        try:
            WeatherSettings.from_table(value)
        except InputError as error:
            raise InputError(f"a table of settings ({error})") from None
    return value


def _species(value: Any) -> Mapping[str, Mapping[str, Any]]:
    if not isinstance(value, Mapping) or not all(isinstance(v, Mapping) for v in value.values()):
        raise InputError('tables such as [species."Acer palmatum"]')
    return value


_KEYS: dict[str, tuple[str, Callable[[Any], Any]]] = {
    "name": ("name", _text),
    "units": ("units", _one_of(UNITS)),
    "season_start": ("season_start", _month_day),
    "date_order": ("date_order", _one_of(SHOWN_ORDERS)),
    "odds": ("odds", _odds),
    "first_weekday": ("first_weekday", _one_of(WEEKDAYS)),
    "contact": ("contact", _text),
    "stands_on": ("stands_on", _day),
    "weeks_before_frost": ("weeks_before_frost", _number(0, 40)),
    "least_daylength": ("least_daylength", _number(0, 24)),
    "hot_day": ("hot_day", _number(15, 60)),
    "away": ("away", _intervals),
    "weather.sources": ("weather_sources", _names),
    "weather.services": ("weather_services", _services),
    "species": ("species", _species),
}
_COMMENTS = {
    "units": "C or F",
    "date_order": "day-first, month-first or year-first: how dates are shown and read",
    "first_weekday": "where weeks begin",
    "season_start": "first day of a season, month-day",
    "odds": "how sure a woken flush must be to ripen before the last safe date",
    "stands_on": "this garden stands still on that day",
}


def read_settings(folder: Path) -> GardenSettings:
    """The settings of the garden in a folder.

    Raises
    ------
    StoreError
        If there is no garden, or its file cannot be read.
    InputError
        If the file does not read as TOML, or a setting is unknown or has a value that is not allowed; the
        file, the key and what is allowed are named.
    """
    path = folder / SETTINGS_NAME
    text = read_text(path)
    if text is None:
        raise StoreError(f"there is no garden in {folder} (no {SETTINGS_NAME}); run 'flushcast init'.")
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{path} does not read as TOML: {error}.") from None
    return _checked(_flat(given), str(path))


def check_settings(settings: GardenSettings) -> GardenSettings:
    """The settings with every value checked, as `read_settings` does; raises `InputError`."""
    default = GardenSettings()
    given = {
        key: getattr(settings, name)
        for key, (name, _) in _KEYS.items()
        if getattr(settings, name) != getattr(default, name)
    }
    return _checked(given, "settings")


def write_settings(folder: Path, settings: GardenSettings) -> Path:
    """Write the settings; comments and order of a file already there are kept.

    The file is replaced as a whole, so that a failure leaves the old one. Settings at their default are
    left out.

    Raises
    ------
    StoreError
        If the file cannot be read or written.
    InputError
        If a value is not allowed, or the file there does not read as TOML.
    """
    path = folder / SETTINGS_NAME
    with plain_errors(path, "writing", kept="The settings are as they were."):
        replace_text(path, rewritten(path, check_settings(settings)))
    return path


def _flat(given: Mapping[str, Any]) -> dict[str, Any]:
    """Keys as in `_KEYS`: those of the [weather] table with a dot."""
    flat: dict[str, Any] = {}
    for key, value in given.items():
        if key == "weather" and isinstance(value, Mapping):
            flat.update({f"weather.{inner}": v for inner, v in value.items()})
        else:
            flat[key] = value
    return flat


def _checked(given: Mapping[str, Any], where: str) -> GardenSettings:
    values = {}
    for key, value in given.items():
        if key not in _KEYS:
            raise InputError(f"{where}: there is no setting '{key}'; {_meant(key)}.")
        name, check = _KEYS[key]
        try:
            values[name] = check(value)
        except InputError as error:
            raise InputError(f"{where}: '{key}' must be {error}, not {_shown(value)}.") from None
    if values.get("species"):
        from phenology.species.catalogue import load_species

        try:
            load_species(values["species"])
        except InputError as error:
            raise InputError(f"{where}: {error}") from None
    return GardenSettings(**values)


def _meant(key: str) -> str:
    from phenology.language.words import near_words

    near = near_words(key, {k: k for k in _KEYS})
    return f"did you mean {' or '.join(near)}?".rstrip("?") if near else f"they are {', '.join(_KEYS)}"


def _shown(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def read_text(path: Path) -> str | None:
    with plain_errors(path, "reading"):
        try:
            return path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
        except FileNotFoundError:
            return None
        except UnicodeDecodeError:
            raise InputError(f"{path} is not UTF-8 text; save it as UTF-8.") from None


def rewritten(path: Path, settings: GardenSettings) -> str:
    """The text of the settings file: what is there, with the values that differ changed."""
    import tomlkit
    from tomlkit.exceptions import ParseError

    text = read_text(path)
    try:
        document: Any = tomlkit.document() if text is None else tomlkit.parse(text)
    except ParseError as error:
        raise InputError(f"{path} does not read as TOML: {error}.") from None
    if text is None:
        document.add(tomlkit.comment(_HEAD))
        document.add(tomlkit.nl())
    default = GardenSettings()
    for key, (name, _) in _KEYS.items():
        value = getattr(settings, name)
        if name == "species":
            if value:
                _lay_over(document, "species", value)
            else:
                document.pop("species", None)
            continue
        outer, _, inner = key.rpartition(".")
        if value == getattr(default, name) and name not in ("name", "units"):
            table = document.get(outer, {}) if outer else document
            table.pop(inner, None)
            continue
        plain = list(value) if isinstance(value, tuple) else value
        if outer and outer not in document:
            document.add(outer, tomlkit.table())
        table = document[outer] if outer else document
        if inner not in table or table[inner] != plain:
            _set(table, inner, plain, _COMMENTS.get(key))
    return str(tomlkit.dumps(document))


def _set(table: Any, key: str, value: Any, comment: str | None = None) -> None:
    import tomlkit

    if key in table:
        table[key] = value  # keeps the comment behind it
        return
    item = tomlkit.item(value)
    if comment:
        item.comment(comment)
    table.add(key, item)


def _lay_over(table: Any, key: str, value: Mapping[str, Any]) -> None:
    """Bring a table, and the tables in it, to `value`, touching only what differs."""
    import tomlkit

    if key not in table:
        only_tables = bool(value) and all(isinstance(v, Mapping) for v in value.values())
        table.add(key, tomlkit.table(is_super_table=only_tables))
    inner = table[key]
    for gone in [k for k in inner if k not in value]:
        inner.pop(gone)
    for k, v in value.items():
        if isinstance(v, Mapping):
            _lay_over(inner, k, v)
        else:
            plain = list(v) if isinstance(v, tuple) else v
            if k not in inner or inner[k] != plain:
                _set(inner, k, plain)


def replace_text(path: Path, text: str | None) -> None:
    """Put a text in a file's place as a whole, lastingly; None: remove the file."""
    path = path.resolve()  # a linked file stays a link
    if text is None:
        path.unlink(missing_ok=True)
        return
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with part.open("w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
        sync_folder(path.parent)
    finally:
        with suppress(OSError):
            part.unlink()
