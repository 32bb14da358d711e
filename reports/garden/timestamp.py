"""The moment at which something is fetched or added, with its time zone."""

from __future__ import annotations

from datetime import UTC, date, datetime, time


def moment_on(day: date) -> datetime:
    """Now in UTC; noon of `day` where the garden (or the test clock) stands on another day."""
    now = datetime.now(UTC)
    return now if day == now.astimezone().date() else datetime.combine(day, time(12), UTC)
