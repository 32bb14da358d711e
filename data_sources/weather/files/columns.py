"""Which column is which, and which unit it states: by its name alone, never by its values."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from data_sources.tables.problems import FileQuestion, TableError
from data_sources.tables.text_table import TextTable


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


ROLES = ("date", "time", "year", "month", "day", "tmin", "tmax", "temp")

_LOW = _set(
    "min minimum minima mini tmin mintemp tempmin low lowest tn minimo minimal minimale tiefst tiefste"
)
_HIGH = _set(
    "max maximum maxima maxi tmax maxtemp tempmax high highest tx maximo maximal maximale hochst hoechst "
    "hochste hoechste"
)
_TEMP = _set("temp temps temperature temperatures temperatur temperatura lufttemperatur t tair ta")
_PLAIN = _set(
    "air outdoor outside daily 2m luft external ext value of the in sensor probe channel ch reading wert "
    "werte"
)
_DATE = _set("date datum day tag fecha data jour giorno dag timestamp datetime zeitstempel zeitpunkt")
_TIME = _set("time zeit uhrzeit hora heure ora tid clock")
_ZONE = _set("utc gmt local lst z standard cet cest of and no")
_NOT_AIR = _set(
    "dew dewpoint point taupunkt wet bulb heat index feels like chill humidity feuchte rh soil water pot"
)

_UNIT = re.compile(
    r"[°º˚]\s*(?P<sign>[CF])\b"
    r"|\bdeg(?:rees?)?[\s_.]*(?P<deg>[CF])(?![a-z])"
    r"|[\[(]\s*(?P<bracket>[CF])\s*[\])]"
    r"|\b(?P<word>celsius|centigrade|fahrenheit)\b"
    r"|[\s_](?P<tail>[CF])$",
    re.IGNORECASE,
)


def unit_in(text: str, *, bare_letter: bool = True) -> str | None:
    """ "C" or "F" when a text states one of them, None when it states neither or both.

    A last word "c" or "f" counts only with `bare_letter`.

    >>> unit_in("Temperatur (°C)"), unit_in("tmax_f"), unit_in("Temp [F]"), unit_in("tmin")
    ('C', 'F', 'F', None)
    """
    found = set()
    for match in _UNIT.finditer(text.replace("_", " ")):
        if match["tail"] and not bare_letter:
            continue
        stated = next(group for group in match.groups() if group)
        found.add("F" if stated[0].upper() == "F" else "C")
    return found.pop() if len(found) == 1 else None


def role_of(name: str) -> str | None:
    """What a column of this name holds, as far as the name says.

    >>> names = ("temp_min", "T2M max", "Datum/Uhrzeit", "Lufttemperatur", "Dew point", "Tageshöchstwert")
    >>> [role_of(name) for name in names]
    ['tmin', 'tmax', 'date', 'temp', None, 'tmax']
    """
    words = _words(name)
    if words & _NOT_AIR or not words:
        return None
    known = words - _PLAIN - _TEMP
    if words <= {"year", "jahr", "ano", "annee"}:
        return "year"
    if words <= {"month", "monat", "mes", "mois"}:
        return "month"
    numbered = {word for word in known if not word.isdigit()}  # "tmin 2"
    if numbered and numbered <= _LOW:
        return "tmin"
    if numbered and numbered <= _HIGH:
        return "tmax"
    if words & _TEMP and not numbered:
        return "temp"
    stamp = {w for w in words - _ZONE if not w.isdigit()}
    if stamp and stamp <= _DATE | _TIME:
        return "date" if stamp & _DATE else "time"
    return None


def find_columns(table: TextTable, chosen: Mapping[str, str] | None = None) -> dict[str, int]:
    """Positions of the columns of a daily table or a thermometer's log, by role.

    Columns chosen by the grower (role to name) go before the names' own meaning. Raises `TableError` if a
    chosen column is not there, or the columns found do not suffice. Raises `FileQuestion` if several columns
    may be meant.
    """
    file, header = table.file, table.headers
    lower = [name.casefold() for name in header]
    at: dict[str, int] = {}
    for role, name in (chosen or {}).items():
        if role not in ROLES:
            wrong = f"'{role}' is no column of a weather file; name one of {', '.join(ROLES)}"
            raise TableError(f"{file}: {wrong}")
        if name.casefold() not in lower:
            raise TableError(f"{file}: has no column '{name}'; its columns are {_listed(header)}")
        at[role] = lower.index(name.casefold())
    for role, candidates in _candidates(header, at).items():
        if len(candidates) > 1:
            names = [header[i] for i in candidates]
            message = f"{file}: several columns may be {role}: {_listed(names)}; say --column {role}=NAME"
            raise FileQuestion("column", names, message, role)
        at[role] = candidates[0]
    if not is_enough(at):
        raise TableError(
            f"{file}: needs the columns date, tmin and tmax (or a log's time and temperature); it has "
            f"{_listed(header[:8])}",
            hint=". Say which is which with --column tmin=NAME",
        )
    return at


def is_enough(at: Iterable[str]) -> bool:
    """Whether these roles make a table of days, or a log."""
    have = set(at)
    dated = "date" in have or {"year", "month", "day"} <= have
    return dated and ({"tmin", "tmax"} <= have or "temp" in have)


def looks_like_header(cells: Sequence[str], chosen: Mapping[str, str] | None = None) -> bool:
    """Whether a line of cells names the columns needed (several candidates for one role count)."""
    named = {name.casefold() for name in (chosen or {}).values()}
    return bool(named and named <= {cell.casefold() for cell in cells}) or is_enough(_candidates(cells, {}))


def _candidates(header: Sequence[str], known: Mapping[str, int]) -> dict[str, list[int]]:
    """The columns that each role not yet known may be in."""
    roles = [None if n in known.values() else role_of(name) for n, name in enumerate(header)]
    if {"year", "month"} <= set(roles):  # then "day" is a day of the month
        roles = [
            "day" if role == "date" and _words(name) <= {"day", "tag", "dia", "jour"} else role
            for role, name in zip(roles, header, strict=True)
        ]
    if not {"date", "year"} & {*known, *roles}:  # a lone "time" holds the date
        roles = ["date" if role == "time" else role for role in roles]
    found = {role: [n for n, r in enumerate(roles) if r == role] for role in ROLES if role not in known}
    if {"tmin", "tmax"} <= {*known, *roles}:
        found.pop("temp", None)
    elif found.get("temp") == []:
        unknown = [n for n, role in enumerate(roles) if role is None and n not in known.values()]
        found["temp"] = [n for n in unknown if _bare_temperature(header[n])]
    return {role: candidates for role, candidates in found.items() if candidates}


def _bare_temperature(name: str) -> bool:
    """A sensor named by its owner ("Bench (°C)") is known by its unit."""
    return unit_in(name, bare_letter=False) is not None and not _words(name) & (_NOT_AIR | _LOW | _HIGH)


def _words(name: str) -> set[str]:
    plain = unicodedata.normalize("NFKD", _UNIT.sub(" ", name.replace("_", " ")))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = re.sub(r"[\[(].*?[\])]", " ", plain)
    plain = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", plain)  # MinTemp
    plain = re.sub(r"(?i)\btages?(?=[a-z])|(?<=[a-z])(?=temperatur|wert\b)", " ", plain)  # Höchsttemperatur
    words = re.findall(r"[a-z]+\d*|\d+[a-z]*", plain.casefold().replace("t2m", "temp 2m"))
    return set(words)


def _listed(names: Sequence[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)
