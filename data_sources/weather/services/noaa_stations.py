"""Which stations of GHCN-Daily are near: from NOAA's two lists, fetched once a season.

Columns as in the readme of GHCN-Daily.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np

from data_sources.weather.services.http import Http
from data_sources.weather.services.http_faults import refuse_page
from data_sources.weather.services.protocol import ServiceError, Spot, Station
from data_sources.weather.services.station_blend import distance

KEEP = 90 * 86400.0
RECENT_YEARS = 1  # a station whose records end earlier than last year is of no use for a forecast
NO_HEIGHT = -999.0
SEARCHED_KM = 100.0


def near_stations(spot: Spot, base: str, http: Http, today: date) -> list[Station]:
    """Stations that measure both extremes and still report, the nearest first.

    Raises
    ------
    ServiceError
        If the lists cannot be had or read.
    """
    lines = http.get(f"{base}/ghcnd-inventory.txt", _lines, keep_for=KEEP).value
    reaching = measuring_both(lines, today.year - RECENT_YEARS)
    named = http.get(f"{base}/ghcnd-stations.txt", _lines, keep_for=KEEP).value
    return by_distance(named, reaching, spot)


def measuring_both(inventory: Sequence[str], until: int) -> set[str]:
    """Ids of stations whose TMIN and TMAX both reach the year `until`.

    Examples
    --------
    >>> line = "ZZC00010001  50.1200    8.7000 {} 1990 2026"
    >>> measuring_both([line.format("TMAX"), line.format("TMIN"), line.format("PRCP")], 2025)
    {'ZZC00010001'}
    """
    found: dict[str, set[str]] = {}
    for line in inventory:
        if line[31:35] in ("TMAX", "TMIN"):
            try:
                if int(line[41:45]) >= until:
                    found.setdefault(line[:11], set()).add(line[31:35])
            except ValueError:
                raise ServiceError("damaged", "sent a list of stations that cannot be read") from None
    return {key for key, elements in found.items() if len(elements) == 2}


def by_distance(lines: Sequence[str], wanted: set[str], spot: Spot) -> list[Station]:
    """The wanted stations of a list, the nearest first, none farther than `SEARCHED_KM`."""
    chosen = [line for line in lines if line[:11] in wanted]
    try:
        latitudes = np.array([float(line[12:20]) for line in chosen])
        longitudes = np.array([float(line[21:30]) for line in chosen])
        heights = [float(line[31:37]) for line in chosen]
    except ValueError:
        raise ServiceError("damaged", "sent a list of stations that cannot be read") from None
    if not chosen:
        return []
    away = distance(spot.latitude, spot.longitude, latitudes, longitudes) / 1000
    return [
        Station(
            chosen[at][:11],
            chosen[at][41:71].strip().title(),
            float(latitudes[at]),
            float(longitudes[at]),
            heights[at] if heights[at] > NO_HEIGHT else None,
            float(away[at]),
        )
        for at in np.argsort(away)
        if away[at] <= SEARCHED_KM
    ]


def _lines(body: bytes) -> list[str]:
    refuse_page(body)
    lines = body.decode("ascii", "replace").splitlines()
    # A list cut off in the middle would silently hide the stations behind the cut.
    if len(lines) > 1 and len(lines[-1].rstrip()) < 12:
        raise ServiceError("damaged", "sent a list of stations that breaks off")
    return lines
