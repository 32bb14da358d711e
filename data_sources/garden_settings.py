"""The settings of a garden: `garden.toml`, read strictly and rewritten without losing a comment."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from data_sources.disk.whole_files import replace_text
from data_sources.sqlite.errors import plain_errors
from phenology.language.date_style import SHOWN_ORDERS, DateStyle
from phenology.model.errors import InputError, StoreError
from phenology.model.limits import Limits

if TYPE_CHECKING:
    from phenology.language.written_days import DateOrder

SETTINGS_NAME = "garden.toml"
UNITS = ("C", "F")
WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")

_HEAD = "The garden's settings. Edit them here, or with 'flushcast settings'."


@dataclass(frozen=True)
class GardenSettings:
    """What is set for a whole garden; `SETTINGS` says what each field means."""

    name: str = "Garden"
    units: str = "C"
    season_start: str | None = None
    date_order: str | None = None
    odds: float = 0.9
    first_weekday: str | None = None
    weather_sources: tuple[str, ...] = ()
    # as `WeatherSettings` of the weather services has them
    weather_services: Mapping[str, Any] = field(default_factory=dict)
    contact: str | None = None
    stands_on: date | None = None
    # as in `Limits` [weeks, h, degC]
    weeks_before_frost: float = 10.0
    least_daylength: float = 13.0
    hot_day: float = 33.0
    away: tuple[str, ...] = ()  # ISO 8601 intervals
    # Latin name to the fields that differ here, see `load_species`
    species: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    @property
    def limits(self) -> Limits:
        """What the garden asks of late work."""
        return Limits(
            odds=self.odds,
            weeks_before_frost=self.weeks_before_frost,
            least_daylength=self.least_daylength,
            hot_day_c=self.hot_day,
            away=self.away,
        )

    @property
    def date_style(self) -> DateStyle:
        """How dates are written here and where weeks begin."""
        order = next((o for o in SHOWN_ORDERS if o == self.date_order), SHOWN_ORDERS[0])
        return DateStyle(order, WEEKDAYS.index(self.first_weekday or WEEKDAYS[0]))

    @property
    def reading_order(self) -> DateOrder | None:
        """How 4/7 reads here; None where nothing was settled, or the year comes first."""
        from phenology.language.written_days import DATE_ORDERS

        return next((o for o in DATE_ORDERS if o == self.date_order), None)


@dataclass(frozen=True, eq=False, repr=False)
class Setting:
    """How one setting is checked and explained."""

    wanted: str  # what its value must be, to who wrote something else
    meaning: str = ""  # in a line, for who reads the settings; empty where it is not set by itself
    comment: str = ""  # beside it in a new file
    unset: str = "-"  # what its default means
    allowed: tuple[str, ...] = ()  # the only texts that it may be
    between: tuple[float, float] | None = None  # the numbers that it may be


def _named(allowed: tuple[str, ...], meaning: str, comment: str, unset: str = "-") -> Setting:
    return Setting(" or ".join(f'"{one}"' for one in allowed), meaning, comment, unset, allowed)


def _number(low: float, high: float, meaning: str, comment: str = "") -> Setting:
    return Setting(f"a number from {low:g} to {high:g}", meaning, comment, between=(low, high))


_TEXT = "a text in quotes"
_ORDERS = "day-first, month-first or year-first"
SETTINGS: dict[str, Setting] = {
    "name": Setting(_TEXT, "what the garden is called"),
    "units": _named(UNITS, "C or F: how temperatures are shown", "C or F"),
    "season_start": Setting(
        'a month and day such as "07-01", from "01-01" to "12-31" (29 February is not one)',
        "first day of a season, MM-DD",
        "first day of a season, month-day",
        "by hemisphere",
    ),
    "date_order": _named(
        SHOWN_ORDERS,
        f"how dates are shown and 4/7 reads: {_ORDERS}",
        f"{_ORDERS}: how dates are shown and read",
        "day-first, 4/7 asked",
    ),
    "odds": _number(
        0.5,
        0.99,
        "how sure a woken flush must be to ripen, 0.5 to 0.99",
        "how sure a woken flush must be to ripen before the last safe date",
    ),
    "first_weekday": _named(
        WEEKDAYS, "where weeks begin: monday ... sunday", "where weeks begin", WEEKDAYS[0]
    ),
    "weather_sources": Setting(
        'a list of texts such as ["one", "another"]',
        "weather services in the order asked, with commas",
        unset="the usual order",
    ),
    "weather_services": Setting("a table such as [weather.services]"),
    "contact": Setting(_TEXT, "address for weather services that want one"),
    "stands_on": Setting(
        "a date without quotes such as 2026-06-14",
        "the day the garden stands still on",
        "this garden stands still on that day",
        "follows the calendar",
    ),
    "weeks_before_frost": _number(0, 40, "cuts stop this many weeks before the usual first frost"),
    "least_daylength": _number(0, 24, "cuts stop when days grow shorter than this, in hours"),
    "hot_day": _number(15, 60, "heat above which leaves are not taken off and shoots not cut"),
    "away": Setting(
        'a list of intervals such as ["2026-08-01/2026-08-14"], first day before last',
        "when nobody waters: 2026-08-01/2026-08-14, more with commas",
    ),
    "species": Setting('tables such as [species."Acer palmatum"]'),
}
"""Every field of `GardenSettings`, in its order; in the file the weather's stand in a table of their own."""


def _valid(name: str, value: Any) -> Any:
    """The value of a setting as it is kept; None where it is not allowed."""
    setting = SETTINGS[name]
    if setting.allowed:
        return next((one for one in setting.allowed if one.casefold() == str(value).casefold()), None)
    if setting.between:
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        return float(value) if is_number and setting.between[0] <= value <= setting.between[1] else None
    if setting.wanted == _TEXT:
        return value if isinstance(value, str) and value.strip() else None
    if name == "stands_on":
        return value if isinstance(value, date) and not isinstance(value, datetime) else None
    if name == "species":
        return value if isinstance(value, Mapping) and all(map(_is_table, value.values())) else None
    if name == "weather_services":
        return value if isinstance(value, Mapping) and _services_fit(value) else None
    try:
        if name == "season_start":
            date.fromisoformat(f"2025-{value}")
            return value if isinstance(value, str) and re.fullmatch(r"\d\d-\d\d", value) else None
        if not isinstance(value, list | tuple) or not all(isinstance(v, str) and v.strip() for v in value):
            return None
        ends = [list(map(date.fromisoformat, text.split("/"))) for text in value if name == "away"]
        return tuple(value) if all(len(pair) == 2 and pair[0] <= pair[1] for pair in ends) else None
    except ValueError:
        return None


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping)


def _services_fit(value: Mapping[str, Any]) -> bool:
    if value:
        from data_sources.weather.services.transport.settings import WeatherSettings

        WeatherSettings.from_table(value)
    return True


_FIELD_OF = {name.replace("weather_", "weather."): name for name in SETTINGS}  # by their key in the file
_TYPED = {name.replace("_", "-"): name for name in SETTINGS}  # as `flushcast settings` names them


def read_settings(folder: Path) -> GardenSettings:
    """The settings of the garden in a folder.

    Raises `StoreError` if there is no garden, or its file cannot be read. Raises `InputError` if the file
    does not read as TOML, or a setting is unknown or has a value that is not allowed; the file, the key and
    what is allowed are named.
    """
    path = folder / SETTINGS_NAME
    text = read_text(path)
    if text is None:
        if (folder / "journal.sqlite").exists():
            raise StoreError(
                f"the garden in {folder} has lost its {SETTINGS_NAME}; put it back, or let "
                f"'flushcast init {folder}' write a new one beside the journal."
            )
        raise StoreError(
            f"there is no garden in {folder} (no {SETTINGS_NAME}); stand in its folder, name it with "
            "--garden, or run 'flushcast init'."
        )
    try:
        given = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise InputError(f"{path} does not read as TOML: {_short(error)}.") from None
    inner = given.pop("weather", {})  # its keys with a dot, as in `_FIELD_OF`
    weather = {f"weather.{key}": v for key, v in inner.items()} if _is_table(inner) else {"weather": inner}
    return _checked({**given, **weather}, str(path))


def check_settings(settings: GardenSettings) -> GardenSettings:
    """The settings with every value checked, as `read_settings` does; raises `InputError`."""
    default = GardenSettings()
    given = {typed: getattr(settings, name) for typed, name in _TYPED.items()}
    changed = {typed: v for typed, v in given.items() if v != getattr(default, _TYPED[typed])}
    return _checked(changed, "settings", _TYPED)


def write_settings(folder: Path, settings: GardenSettings) -> Path:
    """Write the settings; comments and order of a file already there are kept.

    The file is replaced as a whole, so that a failure leaves the old one. Settings at their default are left
    out. Raises `StoreError` if the file cannot be read or written. Raises `InputError` if a value is not
    allowed, or the file there does not read as TOML.
    """
    path = folder / SETTINGS_NAME
    with plain_errors(path, "writing", kept="The settings are as they were."):
        replace_text(path, rewritten(path, check_settings(settings)))
    return path


def _checked(
    given: Mapping[str, Any], where: str, field_of: Mapping[str, str] | None = None
) -> GardenSettings:
    """The settings of values by their key in the file, or as `field_of` names them."""
    field_of = field_of or _FIELD_OF
    values: dict[str, Any] = {}
    for key, value in given.items():
        if key not in field_of:
            raise InputError(f"{where}: there is no setting '{key}'; {_meant(key)}")
        name = field_of[key]
        wanted = SETTINGS[name].wanted
        try:
            values[name] = _valid(name, value)
        except InputError as error:
            wanted = f"{wanted} ({error})"
        if values.get(name) is None:
            value = ", ".join(value) if isinstance(value, tuple) else value
            shown = f'"{value}"' if isinstance(value, str) else value
            raise InputError(f"{where}: '{key}' must be {wanted}, not {shown}.")
    if values.get("species"):
        from phenology.species.catalogue import load_species

        try:
            load_species(values["species"])
        except InputError as error:
            raise InputError(f"{where}: {error}") from None
    return GardenSettings(**values)


def _meant(key: str) -> str:
    from phenology.language.words import near_words

    near = near_words(key, {k: k for k in _FIELD_OF})
    return f"did you mean {' or '.join(near)}?" if near else f"they are {', '.join(_FIELD_OF)}."


def _short(error: Exception) -> str:
    return "it is nested too deeply" if isinstance(error, RecursionError) else str(error)[:200].rstrip(".")


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
    except (ParseError, RecursionError, ValueError) as error:
        raise InputError(f"{path} does not read as TOML: {_short(error)}.") from None
    if text is None:
        document.add(tomlkit.comment(_HEAD))
        document.add(tomlkit.nl())
    default = GardenSettings()
    for key, name in _FIELD_OF.items():
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
            _set(table, inner, plain, SETTINGS[name].comment)
    return str(tomlkit.dumps(document))


_SECRET = re.compile(r"(?i).*(key|token|secret|password).*|proxies|cache_folder")


def without_secrets(path: Path) -> str:
    """The text of a settings file without keys of services, and what names a computer or its user."""
    import tomlkit

    text = read_text(path)
    document: Any = tomlkit.parse(text or "")
    weather = document.get("weather", {})
    for table in (document, weather, *_tables_in(weather)):
        for name in [name for name in table if _SECRET.fullmatch(name)]:
            table.remove(name)
    return str(tomlkit.dumps(document))


def _tables_in(table: Any) -> list[Any]:
    inner = [one for one in table.values() if _is_table(one)]
    return [*inner, *(more for one in inner for more in _tables_in(one))]


def _set(table: Any, key: str, value: Any, comment: str = "") -> None:
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
