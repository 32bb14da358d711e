"""What has been asked of which service: `weather_asked.json` beside the store, so that an update can go on
where the last one ended and asks nothing twice that will not change.

It is a note, not a record: without it everything is asked once more, and the store stays as it is.
"""

from __future__ import annotations

from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

from data_sources.disk.whole_files import read_note, write_note
from data_sources.weather.services.protocol.service import FetchSpan, Spot

FILE_NAME = "weather_asked.json"
SETTLED_AFTER = 100  # days after its end a round changes no more
MOVING = 30  # days in which the weather of a place that moved is fetched anew; ours
AGAIN_AFTER = 400  # days until even a settled round is asked again


class RequestLog:
    """The note of one place, by its id; kept in memory where no folder is given.

    A place that moved to another spot is asked for anew.
    """

    def __init__(self, garden: Path | None, place: str, spot: Spot) -> None:
        self._path = garden / FILE_NAME if garden is not None else None
        self._all: dict[str, Any] = read_note(self._path, dict, {}) if self._path else {}
        self._here: dict[str, Any] = {
            "where": [spot.latitude, spot.longitude, spot.elevation, spot.timezone],
            "asked": {},
            "moved": "",
        }
        with suppress(KeyError, TypeError, ValueError):  # a note that cannot be read is none
            before = self._all[place]
            if before["where"] == self._here["where"]:
                self._here |= {"moved": str(before.get("moved", "")), "asked": dict(before["asked"])}
            else:
                self._here["moved"] = "now"
        self._all[place] = self._here

    def moved(self, today: date) -> bool:
        """Whether the place moved lately, so that what the store has is another place's weather."""
        when = self._here["moved"]
        with suppress(ValueError):
            return when == "now" or (today - date.fromisoformat(when)).days <= MOVING
        return False

    def settled(self, service: str, part: FetchSpan, today: date, have: int) -> bool:
        """Whether a round was answered for good, and the store still has (`have`) the days it brought."""
        with suppress(KeyError, TypeError, ValueError):
            note = self._here["asked"][_key(service, part)]
            when = date.fromisoformat(note["on"])
            calm = (when - part.last).days > SETTLED_AFTER and (today - when).days < AGAIN_AFTER
            return calm and have >= int(note["days"])
        return False

    def known(self, service: str) -> bool:
        """Whether the service has ever answered with all of its stations."""
        return any(key.startswith(f"{service} ") and key.endswith(" all") for key in self._here["asked"])

    def note(self, service: str, part: FetchSpan, today: date, have: int) -> None:
        """Remember that a round was answered in full."""
        if self._here["moved"] == "now":
            self._here["moved"] = today.isoformat()
        self._here["asked"][_key(service, part)] = {"on": today.isoformat(), "days": have}
        if self._path is not None:
            write_note(self._path, self._all)


def _key(service: str, part: FetchSpan) -> str:
    """Rounds at the growing end keep their name from day to day."""
    return f"{service} {part.first.year}-{part.last.year} {part.stations or 'all'}"
