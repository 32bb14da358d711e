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

from data_sources.weather.services.protocol.service import Round, Spot

FILE_NAME = "weather_asked.json"
SETTLED_AFTER = 100  # days after its end a round changes no more
AGAIN_AFTER = 400  # days until even a settled round is asked again


class AskedLog:
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
        self._path = garden / FILE_NAME if garden is not None else None
        self._place = place
        self._where = [spot.latitude, spot.longitude, spot.elevation, spot.timezone]
        self._all = self._load()
        mine = self._all.get(place)
        fits = (
            isinstance(mine, dict)
            and mine.get("where") == self._where
            and isinstance(mine.get("asked"), dict)
        )
        self._asked: dict[str, dict[str, Any]] = mine["asked"] if fits and mine is not None else {}

    def settled(self, service: str, part: Round, today: date, have: int) -> bool:
        """Whether a round was answered for good, and the store still holds what it brought.

        Parameters
        ----------
        service, part
            What is about to be asked.
        today : datetime.date
        have : int
            Days of the round that the store holds from such a source.
        """
        note = self._asked.get(_key(service, part))
        if not isinstance(note, dict):
            return False
        try:
            when, days = date.fromisoformat(note["on"]), int(note["days"])
        except (KeyError, TypeError, ValueError):
            return False
        calm = (when - part.last).days > SETTLED_AFTER and (today - when).days < AGAIN_AFTER
        return calm and have >= days

    def known(self, service: str) -> bool:
        """Whether the service has ever answered with all of its stations."""
        return any(key.startswith(f"{service} ") and key.endswith(" all") for key in self._asked)

    def note(self, service: str, part: Round, today: date, have: int) -> None:
        """Remember that a round was answered in full."""
        self._asked[_key(service, part)] = {"on": today.isoformat(), "days": have}
        self._all[self._place] = {"where": self._where, "asked": self._asked}
        if self._path is None:
            return
        part_file = self._path.with_name(f"{self._path.name}.{os.getpid()}.part")
        try:
            part_file.write_text(json.dumps(self._all, indent=1), encoding="utf-8")
            part_file.replace(self._path)
        except OSError:
            with suppress(OSError):
                part_file.unlink()

    def _load(self) -> dict[str, Any]:
        if self._path is None:
            return {}
        try:
            found = json.loads(self._path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return {}
        return found if isinstance(found, dict) else {}


def _key(service: str, part: Round) -> str:
    """Rounds at the growing end keep their name from day to day."""
    return f"{service} {part.first.year}-{part.last.year} {part.stations or 'all'}"
