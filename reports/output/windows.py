"""Windows of work as text and as JSON."""

from __future__ import annotations

import json
import textwrap
from collections.abc import Sequence
from datetime import date

from phenology.advice.windows import Window
from phenology.garden import Garden
from reports.text.words import date_range, short_date, weekday_full_date

WIDTH = 80
SOON_DAYS = 7  # what waiting costs is told of windows that open this soon
SCHEMA = "flushcast.windows/1"


def windows_text(windows: Sequence[Window], garden: Garden, width: int = WIDTH) -> str:
    """A paragraph a window, open ones first."""
    lines = [f"Windows of work, as of {weekday_full_date(garden.as_of)}", ""]
    for window in windows:
        lines += textwrap.wrap(
            _sentence(window, garden.as_of), width, subsequent_indent="  ", break_on_hyphens=False
        )
    if not windows:
        lines.append("No window is open or in sight; trees that are not being refined have none.")
    return "\n".join(
        [*lines, "", "A window opens when the tree shows it, not when the date comes: look first."]
    )


def _sentence(window: Window, today: date) -> str:
    name = f"{window.row.tree.label}, {window.operation.replace('-', ' ')}"
    if window.refused:
        return f"{name}: {_opens(window)}. Not advised: {window.refused}."
    parts = [f"{name}: {_opens(window)}; best {window.best}."]
    if window.closes is not None:
        parts.append(f"Closes {short_date(window.closes)}: {window.closes_why}.")
    near = window.opens[0] is not None and (window.opens[0] - today).days <= SOON_DAYS
    if window.odds is not None and near:
        now, fortnight, three_weeks = (f"{min(0.99, max(0.01, p)):.0%}" for p in window.odds)
        parts.append(
            f"Ripens with odds of {now} done today, {fortnight} in two weeks, {three_weeks} in three."
        )
    return " ".join(parts)


def _opens(window: Window) -> str:
    first, middle, last = window.opens
    if window.is_open:
        return f"open since {short_date(middle)}" if middle else "open"
    if first is None:
        return "hardly this season"
    return (
        f"opens {date_range(first, last)}"
        if last is not None
        else f"opens from {short_date(first)}, if at all"
    )


def windows_json(windows: Sequence[Window], garden: Garden) -> str:
    """The windows as JSON; dates are ISO or null."""
    return json.dumps(
        {
            "schema": SCHEMA,
            "as_of": garden.as_of.isoformat(),
            "windows": [_record(window) for window in windows],
        },
        ensure_ascii=False,
        indent=2,
    )


def _record(window: Window) -> dict[str, object]:
    odds = window.odds or (None, None, None)
    return {
        "tree": window.row.tree.id,
        "label": window.row.tree.label,
        "operation": window.operation,
        "flush": window.row.flush,
        "open": window.is_open,
        "opens": {name: _iso(day) for name, day in zip(("p10", "p50", "p90"), window.opens, strict=True)},
        "best": window.best,
        "closes": _iso(window.closes),
        "closes_why": window.closes_why,
        "odds": {
            name: None if p is None else round(p, 3)
            for name, p in zip(("today", "in_14_days", "in_21_days"), odds, strict=True)
        },
        "refused": window.refused or None,
    }


def _iso(day: date | None) -> str | None:
    return day.isoformat() if day else None
