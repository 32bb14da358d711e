"""Windows of work as a grower reads them: a paragraph a window, open ones first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from phenology.advice.windows import Window
from phenology.garden import Garden
from phenology.work.cautions import WINDOW_LOOKS_FIRST
from phenology.work.grades import odds_in_tenths
from reports.text.forecast_text import SOON_DAYS, WORTH_SAYING
from reports.text.words import date_range, short_date, weekday_full_date, wrapped


def windows_text(
    windows: Sequence[Window], garden: Garden, width: int = 80, closing: Sequence[str] = (WINDOW_LOOKS_FIRST,)
) -> str:
    """The windows of a garden as text no wider than `width`; `closing` ends it."""
    lines = [f"Windows of work, as of {weekday_full_date(garden.as_of)}", ""]
    for window in windows:
        lines += wrapped(" ".join(_sentences(window, garden.as_of)), width)
    if not windows:
        lines += wrapped("No window is open or in sight; trees that are not being refined have none.", width)
    for text in closing:
        lines += ["", *wrapped(text, width)]
    return "\n".join(lines)


def _sentences(window: Window, today: date) -> Iterator[str]:
    name = f"{window.row.tree.label}, {window.operation.replace('-', ' ')}"
    if window.refused:
        yield f"{name}: {_opens(window)}. Not advised: {window.refused}."
        return
    yield f"{name}: {_opens(window)}; best {window.best}."
    if window.closes is not None:
        yield f"Closes {short_date(window.closes)}: {window.closes_why}."
    near = window.opens[0] is not None and (window.opens[0] - today).days <= SOON_DAYS
    if window.odds is not None and near and window.odds[-1] < WORTH_SAYING:
        now, fortnight, three_weeks = map(odds_in_tenths, window.odds)
        yield f"That it ripens is {now} done today, {fortnight} in two weeks, {three_weeks} in three."


def _opens(window: Window) -> str:
    first, middle, last = window.opens
    if window.is_open:
        return f"open since {short_date(middle)}" if middle else "open"
    if first is None:
        return "hardly this season"
    return f"opens {date_range(first, last)}" if last else f"opens from {short_date(first)}, if at all"
