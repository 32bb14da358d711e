"""Dates, lists, counts, paragraphs and plain tables as the grower reads them.

Dates are written as the garden has them: see `phenology.language.date_style`.
"""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable, Sequence
from datetime import date

from phenology.language.counts import counted
from phenology.language.date_style import SHORT_MONTHS as MONTHS
from phenology.language.date_style import (
    date_range,
    date_style,
    full_date,
    short_date,
    weekday_date,
    weekday_full_date,
    weekday_long_date,
)

__all__ = [
    "MONTHS",
    "counted",
    "date_range",
    "date_style",
    "full_date",
    "short_date",
    "weekday_date",
    "weekday_full_date",
    "weekday_long_date",
]

NARROWEST, WIDEST = 40, 100
FEW = 50  # columns that names may take where very many are counted
COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
          "twelve")  # fmt: skip
TABLE_NAMES = {
    "place": "places",
    "tree": "trees",
    "stand": "standings",
    "aim": "aims",
    "work": "works",
    "flush": "flushes",
    "look": "looks",
    "import_map": "column readings",
    "shared_file": "calibrations of others",
}


def terminal_width() -> int:
    """Columns that text may take: the terminal's, no fewer than 40 and no more than reads well."""
    return min(WIDEST, max(NARROWEST, shutil.get_terminal_size((80, 24)).columns))


def listed(names: Sequence[str]) -> str:
    """Names in a row, with an "and".

    Examples
    --------
    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def tree_names(labels: Sequence[str]) -> str:
    """Labels of alike trees, a shared name said once.

    Examples
    --------
    >>> tree_names(["Hornbeam 1", "Hornbeam 3", "Hornbeam 4"]), tree_names(["Elm 2", "Old quince"])
    ('Hornbeams 1, 3 and 4', 'Elm 2 and Old quince')
    >>> tree_names(["Beech", "Elm 1", "Elm 2", "Elm 3", "Elm 5"])
    'Beech and Elms 1-3 and 5'
    """
    numbers: dict[str, list[int]] = {}  # by shared name, in order of the first; a label of its own has none
    for label in labels:
        stem, _, number = label.rpartition(" ")
        numbered = bool(stem) and number.isdigit() and str(int(number)) == number
        numbers.setdefault(stem if numbered else label, []).extend([int(number)] if numbered else [])
    return listed([_numbered(stem, sorted(found)) for stem, found in numbers.items()])


def few_names(labels: Sequence[str]) -> str:
    """The same, very many counted.

    Examples
    --------
    >>> few_names([f"Elm {n}" for n in range(1, 41)]), few_names([f"Elm {n}" for n in range(1, 40, 2)])
    ('Elms 1-40', 'Elm 1, Elm 3, Elm 5 and 17 more')
    """
    text = tree_names(labels)
    return text if len(text) <= FEW else f"{', '.join(labels[:3])} and {len(labels) - 3} more"


def _numbered(stem: str, numbers: Sequence[int]) -> str:
    """A shared name with its numbers, neighbours drawn together."""
    if len(numbers) < 2:
        return " ".join([stem, *map(str, numbers)])
    told: list[str] = []
    first = 0
    for k, number in enumerate(numbers):
        if k + 1 < len(numbers) and numbers[k + 1] == number + 1:
            continue  # the run goes on
        run, first = numbers[first : k + 1], k + 1
        told += [f"{run[0]}-{run[-1]}"] if len(run) > 2 else map(str, run)
    ending = "" if stem.endswith("s") else "es" if stem.endswith(("ch", "sh", "x")) else "s"
    return f"{stem}{ending} {listed(told)}"


def counted_word(n: int) -> str:
    """A small number as a word.

    Examples
    --------
    >>> counted_word(3), counted_word(40)
    ('three', '40')
    """
    return COUNTS[n] if n < len(COUNTS) else str(n)


def capital(text: str) -> str:
    """A text begun with a capital."""
    return f"{text[:1].upper()}{text[1:]}"


def wrapped(text: str, width: int = 80, hang: str = "  ") -> list[str]:
    """A paragraph as lines no wider than `width`, all but the first indented."""
    return textwrap.wrap(text, width, subsequent_indent=hang, break_on_hyphens=False)


def paragraph(words: str) -> str:
    """Words wrapped for the terminal; a no-break space holds words together."""
    return set_in(words, 0).replace("\u00a0", " ")


def set_in(words: str, indent: int) -> str:
    """Words wrapped for the terminal, set in by some spaces and what follows by two more."""
    return textwrap.fill(
        words, terminal_width(), initial_indent=" " * indent, subsequent_indent=" " * (indent + 2),
        break_long_words=False, break_on_hyphens=False,
    )  # fmt: skip


def table(headers: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A plain table as wide as the terminal at most."""
    from reports.table import grid

    return grid(headers, rows, terminal_width())


def shown_date(earliest: date, latest: date, today: date) -> str:
    """A date shown back: "Sat 4 Jul", with the year when it is not this one, or its two ends."""
    if earliest != latest:
        from phenology.language.vague_dates import format_dates

        this_year = earliest.year == latest.year == today.year
        return date_range(earliest, latest) if this_year else format_dates(earliest, latest)
    return weekday_date(earliest) if earliest.year == today.year else weekday_full_date(earliest)
