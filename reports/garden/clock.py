"""The only clock of the project: today's date, as the commands see it."""

from __future__ import annotations

import os
from datetime import date


def today() -> date:
    """Today, or the date in ``FLUSHCAST_TODAY`` (tests and teaching use it to stand on another day)."""
    fixed = os.environ.get("FLUSHCAST_TODAY")
    return date.fromisoformat(fixed) if fixed else date.today()
