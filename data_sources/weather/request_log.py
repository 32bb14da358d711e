"""What has been asked of which service: `weather_asked.json` beside the store, so that an update can go on
where the last one ended and asks nothing twice that will not change.

It is a note, not a record: without it everything is asked once more, and the store stays as it is.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from datetime import date
from pathlib import Path
from typing import Any

from data_sources.weather.services.protocol.service import FetchSpan, Spot

FILE_NAME = "weather_asked.json"
SETTLED_AFTER = 100  # days after its end a round changes no more
MOVING = 30  # days in which the weather of a place that moved is fetched anew; ours
AGAIN_AFTER = 400  # days until even a settled round is asked again


class RequestLog:
    """The note of one place.

    Parameters
    ----------
    garden : Path or None
        The garden's folder; None keeps the note in memory.
    place : str
        Id of the place.
    spot : Spot
        A place that moved is asked for anew.
    """

    def __init__(self, garden: Path | None, place: str, spot: Spot) -> None:
        self._place = place
        self._path = garden / FILE_NAME if garden is not None else None
        self._all: dict[str, Any] = {}
        self._answered: dict[str, Any] = {}
        where = [spot.latitude, spot.longitude, spot.elevation, spot.timezone]
        self._moved = ""
        # A note that cannot be read is none.
        with suppress(OSError, ValueError, KeyError, TypeError):
            self._all = dict(json.loads(self._path.read_text(encoding="utf-8"))) if self._path else {}
            here = self._all[place]["where"] == where
            self._moved = str(self._all[place].get("moved", "")) if here else "now"
            if here:
                self._answered = dict(self._all[place]["asked"])
        self._all[place] = {"where": where, "asked": self._answered, "moved": self._moved}

    def moved(self, today: date) -> bool:
        """Whether the place moved lately, so that what the store has is another place's weather."""
        with suppress(ValueError):
            return self._moved == "now" or (today - date.fromisoformat(self._moved)).days <= MOVING
        return False

    def settled(self, service: str, part: FetchSpan, today: date, have: int) -> bool:
        """Whether a round was answered for good, and the store still has (`have`) the days it brought."""
        with suppress(KeyError, TypeError, ValueError):
            note = self._answered[_key(service, part)]
            when = date.fromisoformat(note["on"])
            calm = (when - part.last).days > SETTLED_AFTER and (today - when).days < AGAIN_AFTER
            return calm and have >= int(note["days"])
        return False

    def known(self, service: str) -> bool:
        """Whether the service has ever answered with all of its stations."""
        return any(key.startswith(f"{service} ") and key.endswith(" all") for key in self._answered)

    def note(self, service: str, part: FetchSpan, today: date, have: int) -> None:
        """Remember that a round was answered in full."""
        if self._moved == "now":
            self._moved = self._all[self._place]["moved"] = today.isoformat()
        self._answered[_key(service, part)] = {"on": today.isoformat(), "days": have}
        if self._path is not None:
            new = self._path.with_name(f"{self._path.name}.{os.getpid()}.part")
            with suppress(OSError):
                new.write_text(json.dumps(self._all, indent=1), encoding="utf-8")
                new.replace(self._path)


def _key(service: str, part: FetchSpan) -> str:
    """Rounds at the growing end keep their name from day to day."""
    return f"{service} {part.first.year}-{part.last.year} {part.stations or 'all'}"
