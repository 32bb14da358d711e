"""What an update of the weather says."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from data_sources.weather.store.weather_store import AddReport, WeatherStore
from phenology.language.counts import counted


@dataclass
class Brought:
    """What one service brought.

    Examples
    --------
    >>> Brought("Meteostat", 1096, 0, 2, "10637, 10635").line()
    'Meteostat: 1,096 days new, 2 of them doubtful (10637, 10635)'
    >>> Brought("Meteostat", held=1186).line()
    'Meteostat: 1,186 corrections wait (flushcast weather status)'
    >>> Brought("MET Norway", forecast="forecast to 2026-06-23").line()
    'MET Norway: forecast to 2026-06-23'
    """

    title: str
    new: int = 0
    replaced: int = 0
    doubtful: int = 0
    detail: str = ""
    forecast: str = ""
    held: int = 0
    _own: set[tuple[int, int]] = field(default_factory=set)

    def add(self, added: AddReport) -> None:
        """Count what became of days offered to the store; a day that this update brought is no correction."""
        self._own |= added.new_days
        self.new += added.added
        self.replaced += len(added.replaced_days - self._own)
        self.doubtful += added.suspicious
        self.held += added.held

    def line(self) -> str:
        """A line of the report."""
        waiting = " waits" if self.held == 1 else "s wait"
        counts = (
            (self.new, f"{counted(self.new, 'days')} new"),
            (self.replaced, f"{self.replaced:,} corrected"),
            (self.doubtful, f"{self.doubtful:,} of them doubtful"),
            (self.held, f"{self.held:,} correction{waiting} (flushcast weather status)"),
        )
        words = [self.forecast] if self.forecast else []
        words += [word for n, word in counts if n]
        detail = f" ({self.detail})" if self.detail and not self.forecast else ""
        return f"{self.title}: {', '.join(words) or 'nothing new'}{detail}"


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
        return f"{counted(round(hours), 'hours')} ago"
    return f"{hours / 24:.0f} days ago"


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
    measured = [store.read_source(place, name) for name in ("bench", "station", "model")]
    newest = [w.last_known_day() for w in measured if w is not None and w.known.any()]
    issued = _newest_issue(store, place)
    parts = [f"up to {max(newest)}"] if newest else []
    parts.append(f"forecast fetched {age_in_words(issued, now)}" if issued else "no forecast")
    return f"no network: the weather stays as it is ({', '.join(parts)})"


def _newest_issue(store: WeatherStore, place: str) -> datetime | None:
    return max((u.fetched_at for u in store.origin_uses(place) if u.source == "forecast"), default=None)
