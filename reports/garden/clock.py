"""The only clock of the project: today's date and the time, as the commands see them."""

from __future__ import annotations

import os
from datetime import UTC, date, datetime, time

from phenology.model.errors import InputError


def today() -> date:
    """Today, or the date in ``FLUSHCAST_TODAY`` (tests and teaching use it to stand on another day)."""
    fixed = os.environ.get("FLUSHCAST_TODAY")
    try:
        return date.fromisoformat(fixed) if fixed else date.today()
    except ValueError:
        raise InputError(f"FLUSHCAST_TODAY must be a date such as 2026-06-14, not '{fixed}'") from None


def now_on(day: date) -> datetime:
    """Now in UTC; noon of `day` where the garden (or the test clock) stands on another day."""
    now = datetime.now(UTC)
    return now if day == now.astimezone().date() else datetime.combine(day, time(12), UTC)
