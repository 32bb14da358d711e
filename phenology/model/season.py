"""Seasons and their continuous time: t = n is the end of day n of the season (1 = its first day)."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta

from phenology.model.errors import InputError

NEVER = math.inf
"""Right end of an interval whose event had not come when the looks ended."""

TROPICAL = 15.0
"""Latitudes below this have no season that the length of days could tell (ours). [degrees]"""


@dataclass(frozen=True)
class SeasonCalendar:
    """When seasons start: 1 January in the north, 1 July in the south, or the garden's own day.

    Examples
    --------
    >>> south = SeasonCalendar.for_latitude(-37.8)
    >>> south.season_of(date(2026, 2, 1)), south.label(2025)
    (2025, '2025/26')
    >>> south.day(date(2025, 7, 1)), south.date(2025, 1.0), south.date(2025, 1.2)
    (1, datetime.date(2025, 7, 1), datetime.date(2025, 7, 2))
    """

    start_month: int = 1  # first day of every season; 29 February is refused because most years lack it
    start_day: int = 1

    def __post_init__(self) -> None:
        try:
            date(2023, self.start_month, self.start_day)
        except ValueError:
            raise InputError(
                f"a season cannot start on day {self.start_day} of month {self.start_month}; "
                "choose a day that every year has"
            ) from None

    @classmethod
    def for_latitude(cls, latitude: float) -> SeasonCalendar:
        """The usual calendar of a place: from 1 January north of the equator, from 1 July south of it."""
        return cls(7, 1) if latitude < 0 else cls(1, 1)

    def season_of(self, day: date) -> int:
        """The year in which the season holding `day` starts."""
        return day.year if (day.month, day.day) >= (self.start_month, self.start_day) else day.year - 1

    def start(self, season: int) -> date:
        """First day of a season."""
        return date(season, self.start_month, self.start_day)

    def end(self, season: int) -> date:
        """Last day of a season."""
        return self.start(season + 1) - timedelta(days=1)

    def length(self, season: int) -> int:
        """Days in a season: 365, or 366 when it holds a 29 February."""
        return (self.start(season + 1) - self.start(season)).days

    def day(self, day: date) -> int:
        """Day of its season, 1 for the first."""
        return (day - self.start(self.season_of(day))).days + 1

    def time(self, season: int, day: date) -> float:
        """The end of a day, which may lie outside the season, in the season's continuous time."""
        return float((day - self.start(season)).days + 1)

    def same_day(self, when: date, season: int) -> int:
        """The day of a season on which a day and month fall; 28 February for a 29th that it lacks.

        >>> SeasonCalendar().same_day(date(2026, 6, 14), 2024)
        166
        >>> SeasonCalendar().same_day(date(2024, 2, 29), 2025)
        59
        """
        start = self.start(season)
        year = season if (when.month, when.day) >= (start.month, start.day) else season + 1
        try:
            return self.day(date(year, when.month, when.day))
        except ValueError:
            return self.day(date(year, 2, 28))

    def longest_day(self, latitude: float) -> int | None:
        """Day of the season on which days are longest; None near the equator, where they hardly differ."""
        if abs(latitude) < TROPICAL:
            return None
        longest = date(2025, 6, 21) if latitude > 0 else date(2025, 12, 21)
        return self.same_day(longest, 2025)

    def leap_day(self, season: int) -> int | None:
        """The day of a season that is a 29 February; None where it has none."""
        if self.length(season) == 365:
            return None
        return self.same_day(date(2024, 2, 29), season)

    def date(self, season: int, t: float) -> date:
        """The date printed for continuous time `t` of a season: day ceil(t), which may lie past its end."""
        return self.start(season) + timedelta(days=math.ceil(t) - 1)

    def label(self, season: int) -> str:
        """How a season is written: "2025", or "2025/26" where it spans new year."""
        if (self.start_month, self.start_day) == (1, 1):
            return str(season)
        return f"{season}/{(season + 1) % 100:02d}"
