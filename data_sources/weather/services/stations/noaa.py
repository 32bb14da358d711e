"""What NOAA's two services have in common: which stations of GHCN-Daily are near, and the line to show.

Columns of the lists as in the readme of GHCN-Daily.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from functools import partial
from operator import itemgetter

import numpy as np

from data_sources.weather.services.protocol.service import Spot
from data_sources.weather.services.stations.blend import Station, StationDays
from data_sources.weather.services.stations.station_service import DAY, Days, StationService
from data_sources.weather.services.transport.faults import ServiceError, parser, refuse_page
from phenology.model.arrays import Array

LISTS = "https://www.ncei.noaa.gov/pub/data/ghcn/daily"
ATTRIBUTION = (
    "NOAA National Centers for Environmental Information, GHCN-Daily (Menne et al. 2012, "
    "doi:10.7289/V5D21VHZ), stations {}"
)
RECENT_YEARS = 1  # a station whose records end earlier than last year is of no use for a forecast
NO_HEIGHT = -999.0
SEARCHED_KM = 100.0
EARTH_RADIUS = 6_371_000.0  # m


class Noaa(StationService):
    """A service of NOAA's stations."""

    ids, like = re.compile(r"[A-Z]{2}[A-Z0-9_-]{9}"), "GME00121150"

    def lists(self) -> str:
        """Where the lists of stations and the files lie."""
        return self.settings.addresses.get("ghcn-daily", LISTS).rstrip("/")

    def near(self, spot: Spot, today: date) -> list[Station]:
        """Stations that measure both extremes and still report, from two lists fetched once a season."""
        reach = partial(measuring_both, until=today.year - RECENT_YEARS)
        reporting = self.http.get(
            f"{self.lists()}/ghcnd-inventory.txt", reach, keep_for=90 * DAY, size=itemgetter(1)
        )
        read = partial(by_distance, wanted=reporting.value[0], spot=spot)
        return self.listed(f"{self.lists()}/ghcnd-stations.txt", read, keep_for=90 * DAY)

    def attribution(self, stations: Sequence[StationDays], days: Sequence[Days]) -> str:
        """With the ids of the stations."""
        return ATTRIBUTION.format(", ".join(one.station.id for one in stations))


@parser
def measuring_both(inventory: bytes, until: int) -> tuple[set[str], int]:
    """Ids of stations whose TMIN and TMAX both reach the year `until`, and how many lines there are.

    Raises
    ------
    ServiceError
        If it is no whole list, or no station in it reaches that year.

    Examples
    --------
    >>> line = "ZZC00010001  50.1200    8.7000 {} 1990 2026"
    >>> measuring_both("\\n".join(map(line.format, ("TMAX", "TMIN", "PRCP"))).encode(), 2025)
    ({'ZZC00010001'}, 3)
    """
    found: dict[str, set[str]] = {"TMIN": set(), "TMAX": set()}
    lines = _lines(inventory, 45)
    for line in lines:
        if line[31:35] in found and int(line[41:45]) >= until and Noaa.ids.fullmatch(line[:11]):
            found[line[31:35]].add(line[:11])
    both = found["TMIN"] & found["TMAX"]
    if not both:
        raise ServiceError("damaged", f"sent a list in which no station measures in {until}")
    return both, len(lines)


@parser
def by_distance(stations: bytes, wanted: set[str], spot: Spot) -> tuple[list[Station], int]:
    """The wanted stations of a list, the nearest first, none farther than `SEARCHED_KM`; the list's length.

    Raises
    ------
    ServiceError
        If it is no whole list, or has none of those.
    """
    whole = _lines(stations, 37)
    lines = [line for line in whole if line[:11] in wanted]
    if not lines:
        raise ServiceError("damaged", "sent a list without any station of its inventory")
    places = np.array([[float(line[12:20]), float(line[21:30]), float(line[31:37])] for line in lines])
    if not np.isfinite(places).all():
        raise ServiceError("damaged", "sent a list with places that are nowhere")
    away = distance(spot.latitude, spot.longitude, places[:, 0], places[:, 1]) / 1000
    near = [
        Station(
            lines[at][:11],
            lines[at][41:71].strip().title(),
            float(places[at, 2]) if places[at, 2] > NO_HEIGHT else None,
            float(away[at]),
        )
        for at in np.argsort(away)
        if away[at] <= SEARCHED_KM
    ]
    return near, len(whole)


def distance(latitude: float, longitude: float, latitudes: Array, longitudes: Array) -> Array:
    """Great-circle distance of one point to many. [m]

    Examples
    --------
    >>> float(distance(0.0, 179.9, np.array([0.0]), np.array([-179.9]))[0].round())
    22239.0
    """
    a, b = np.radians(latitude), np.radians(latitudes)
    half = (
        np.sin((b - a) / 2) ** 2 + np.cos(a) * np.cos(b) * np.sin(np.radians(longitudes - longitude) / 2) ** 2
    )
    return np.asarray(2 * EARTH_RADIUS * np.arcsin(np.sqrt(np.minimum(half, 1.0))))


def _lines(body: bytes, width: int) -> list[str]:
    refuse_page(body)
    lines = body.decode("ascii", "replace").splitlines()
    # A list cut off in the middle would silently hide the stations behind the cut.
    if len(lines[-1].rstrip()) < width:
        raise ServiceError("damaged", "sent a list of stations that breaks off")
    return lines
