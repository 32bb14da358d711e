"""The card of towns as a page: a table of dates, and each town's year with its ranges drawn."""

from __future__ import annotations

from datetime import date

from phenology.seasons.translate import Translation
from reports.page.drawings import Label, svg_drawing, svg_line, svg_rect
from reports.page.template import drawn, filled
from reports.text.elsewhere_text import Asked, Card
from reports.text.elsewhere_words import day_words, due_words, range_words, span
from reports.text.words import MONTHS, listed

TEMPLATE = "card.html.j2"
ACROSS = 3  # dates that a phone holds side by side
DAYS = 366
LANE = 10


def card_html(card: Card) -> str:
    """The whole card as one HTML page that fits a sheet."""
    dates = card.dates
    return filled(
        TEMPLATE,
        card=card,
        title=card.title,
        tables=[_table(card, dates[n : n + ACROSS]) for n in range(0, len(dates), ACROSS)],
        strips=[(town, drawn(_strip(card, town))) for town in card.towns],
        asked=listed([range_words(*one) for one in dates]),
        lanes=len(dates),
        months=[Label(100 * _at(date(2024, m, 1)) / DAYS, MONTHS[m - 1]) for m in range(1, 13)],
    )


def _table(card: Card, dates: list[Asked]) -> tuple[list[str], list[tuple[str, list[tuple[str, str, str]]]]]:
    rows = [
        (town, [_cell(range_words(*asked), card.cell(town, asked)) for asked in dates]) for town in card.towns
    ]
    return [range_words(*asked) for asked in dates], rows


def _cell(home: str, t: Translation | None) -> tuple[str, str, str]:
    """The date at home, when it is due here, and its range; a date that cannot be said is left open."""
    if t is None:
        return home, "too cool to say", ""
    return (
        (home, "not here", "") if t.due is None else (home, day_words(t.due, short=True), _breakable(span(t)))
    )


def _breakable(words: str) -> str:
    """A range that a narrow column breaks after its dash only."""
    return (
        words.replace(" ", "\N{NO-BREAK SPACE}")
        .replace("-", "-\N{ZERO WIDTH SPACE}")
        .replace(",\N{NO-BREAK SPACE}", ", ")
    )


def _strip(card: Card, town: str) -> str:
    """A town's year from January to December: a lane a date, a bar from the early to the late end of it."""
    tall = LANE * len(card.dates)
    parts = [svg_line(_at(date(2024, m, 1)), 0, _at(date(2024, m, 1)), tall, "month") for m in range(2, 13)]
    words = []
    for n, asked in enumerate(card.dates):
        t = card.cell(town, asked)
        if t is None or t.due is None or t.due_low is None:
            continue
        words.append(f"{range_words(*asked)} is {due_words(t)}")
        left, right = _at(t.due_low), _at(t.due_high) if t.due_high else float(DAYS)
        pieces = [(left, right)] if left <= right else [(left, float(DAYS)), (0.0, right)]
        top = LANE * n
        parts += [svg_rect(a, top + 1, max(b - a, 1.0), LANE - 2, "range") for a, b in pieces]
        parts.append(svg_line(_at(asked[0]), top + 1, _at(asked[0]), top + LANE - 1, "home"))
        parts.append(svg_line(_at(t.due), top + 1, _at(t.due), top + LANE - 1, "middle"))
    return svg_drawing(DAYS, tall, f"{town}: {'; '.join(words) or 'nothing to draw'}.", parts, "strip")


def _at(day: date) -> float:
    return float(date(2024, day.month, day.day).timetuple().tm_yday - 1)
