"""Lines for the terminal: sentences and plain tables as wide as it is, counts, and dates shown back."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from datetime import date

from phenology.language.date_style import date_range, weekday_date, weekday_full_date
from phenology.language.vague_dates import format_dates
from reports.text.words import terminal_width


def wrapped(words: str) -> str:
    """Words wrapped for the terminal; a no-break space holds words together."""
    text = textwrap.fill(
        words, terminal_width(), subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
    )
    return text.replace("\u00a0", " ")


def set_in(words: str, indent: int) -> str:
    """Words wrapped for the terminal, set in by some spaces and what follows by two more."""
    return textwrap.fill(
        words, terminal_width(), initial_indent=" " * indent, subsequent_indent=" " * (indent + 2),
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip


def table(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A plain table as wide as the terminal at most; the last column takes what is left and wraps."""
    body = [list(row) for row in rows]
    count, width = len(headers), terminal_width()
    widths = [max([len(h)] + [len(row[i]) for row in body]) for i, h in enumerate(headers)]
    room = width - sum(w + 2 for w in widths[:-1])
    if room < 12:  # the widest column but the last gives way
        widest = max(range(count - 1), key=lambda i: widths[i])
        widths[widest] = max(6, widths[widest] - (12 - room))
        room = width - sum(w + 2 for w in widths[:-1])
    lines = []
    for row in [list(headers), *body]:
        cells = [_cut(cell, widths[i]) for i, cell in enumerate(row[:-1])]
        wrapped = textwrap.wrap(row[-1], max(room, 8)) or [""]
        left = "  ".join(cell.ljust(widths[i]) for i, cell in enumerate(cells))
        lines.append(f"{left}  {wrapped[0]}".rstrip() if cells else wrapped[0])
        lines += [f"{'':{len(left) + 2}}{more}" for more in wrapped[1:]]
    return "\n".join(lines)


def counted(n: int, plural: str) -> str:
    """A number of things: "1 tree", "3 trees"."""
    one = {
        "flushes": "flush",
        "days of weather": "day of weather",
        "calibrations of others": "calibration of others",
    }.get(plural, plural.removesuffix("s"))
    return f"{n} {one if n == 1 else plural}"


def shown_date(earliest: date, latest: date, today: date) -> str:
    """A date shown back: "Sat 4 Jul", with the year when it is not this one, or its two ends."""
    if earliest != latest:
        this_year = earliest.year == latest.year == today.year
        return date_range(earliest, latest) if this_year else format_dates(earliest, latest)
    return weekday_date(earliest) if earliest.year == today.year else weekday_full_date(earliest)


def _cut(cell: str, width: int) -> str:
    return cell if len(cell) <= width else f"{cell[: width - 1]}…"
