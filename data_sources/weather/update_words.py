"""What an update of the weather says."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from data_sources.weather.services.protocol.service import Answer
from data_sources.weather.store.weather_store import WeatherStore
from phenology.model.errors import WeatherError


def age_in_words(then: datetime, now: datetime) -> str:
    """How long ago something was.

    Examples
    --------
    >>> from datetime import UTC
    >>> now = datetime(2026, 6, 14, 12, tzinfo=UTC)
    >>> [age_in_words(datetime(2026, 6, day, 9, tzinfo=UTC), now) for day in (14, 12)]
    ['3 hours ago', '2 days ago']
    """
    hours = max((now - then).total_seconds() / 3600, 0.0)
    if hours < 1:
        return "less than an hour ago"
    if hours < 36:
        return f"{hours:.0f} hour{'s' if round(hours) != 1 else ''} ago"
    return f"{hours / 24:.0f} days ago"


def brought(title: str, tally: Sequence[int], about: str) -> str:
    """What one service brought.

    Examples
    --------
    >>> brought("Meteostat", [1096, 0, 2], "10637, 10635")
    'Meteostat: 1,096 days new, 2 of them doubtful (10637, 10635)'
    >>> brought("MET Norway", [0, 0, 0], "forecast to 2026-06-23")
    'MET Norway: forecast to 2026-06-23'
    """
    new, replaced, doubtful = tally
    words = []
    if new:
        words.append(f"{new:,} day{'s' if new != 1 else ''} new")
    if replaced:
        words.append(f"{replaced:,} corrected")
    if doubtful:
        words.append(f"{doubtful:,} of them doubtful")
    if about.startswith("forecast"):
        return f"{title}: {', '.join([about, *words])}"
    said = ", ".join(words) or "nothing new"
    return f"{title}: {said}" + (f" ({about})" if about else "")


def newest_forecast(answer: Answer) -> str:
    """How far a forecast reaches."""
    if answer.forecast is None or not answer.forecast.known.any():
        return ""
    members = f", {len(answer.members)} members" if answer.members else ""
    return f"forecast to {answer.forecast.last_known_day()}{members}"


def stays(store: WeatherStore, place: str, now: datetime) -> str:
    """Which forecast is used while there is no new one."""
    issued = _newest_issue(store, place)
    if issued is None:
        return "there is no forecast yet, past years stand for the coming days"
    return f"the forecast fetched {age_in_words(issued, now)} stays"


def no_network(store: WeatherStore, place: str, now: datetime) -> str:
    """The one line of an update without network."""
    if not store.has(place):
        return "no network, and no weather yet: add a file with `flushcast weather add FILE`"
    parts = []
    try:
        measured = [store.read_source(place, name) for name in ("bench", "station", "model")]
        newest = max(w.last_known_day() for w in measured if w is not None and w.known.any())
        parts.append(f"up to {newest}")
    except (WeatherError, ValueError):
        pass
    issued = _newest_issue(store, place)
    parts.append(f"forecast fetched {age_in_words(issued, now)}" if issued else "no forecast")
    return f"no network: the weather stays as it is ({', '.join(parts)})"


def _newest_issue(store: WeatherStore, place: str) -> datetime | None:
    if not store.has(place):
        return None
    return max((u.fetched_at for u in store.origin_uses(place) if u.source == "forecast"), default=None)
