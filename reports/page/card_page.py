"""The card of towns as a page, a handout for a lesson: technique, what to look for, dates, towns' years."""

from __future__ import annotations

from datetime import date

from phenology.advice.lesson import STAGE_CUES
from phenology.advice.lesson_here import Translation
from phenology.model.stages import Stage
from phenology.species.species import Species
from phenology.work.shoot import described, how_far
from reports.page.drawings import Label, drawn, filled, svg_drawing, svg_line, svg_rect
from reports.views.elsewhere_text import Asked, Card, asked_words, due_words, span
from reports.views.shoot_picture import svg_picture
from reports.views.words import MONTHS, capital, listed, short_date

TEMPLATE = "card.html.j2"
ACROSS = 3  # dates that a phone holds side by side
DAYS = 366
LANE = 10
SHOOT = "out no bud; left; out; right; in"
"""The shoot that a handout shows: the lowest leaf without a bud, the others turning about it."""

CUTS = ("cutback", "halving")
"""Work for which a handout shows where a shoot is cut."""


def card_html(card: Card) -> str:
    """The whole card as one HTML page that fits a sheet."""
    dates = card.dates
    first = card.rows[0]
    states = {t.state.words: t for t in card.rows}
    return filled(
        TEMPLATE,
        card=card,
        title=card.title,
        shoot=drawn(_shoot(first.lesson.species)) if first.lesson.operation in CUTS else "",
        looks=[f"{capital(words)}: {_signs(t)}." for words, t in states.items()],
        tables=[_table(card, dates[n : n + ACROSS]) for n in range(0, len(dates), ACROSS)],
        strips=[(town, drawn(_strip(card, town))) for town in card.towns],
        asked=listed([asked_words(card.cell(card.towns[0], one)) for one in dates]),
        lanes=len(dates),
        months=[Label(100 * _at(date(2024, m, 1)) / DAYS, MONTHS[m - 1]) for m in range(1, 13)],
    )


def _shoot(species: Species) -> str:
    leaves = described(SHOOT, opposite=species.arrangement == "opposite")
    return svg_picture(leaves, how_far(leaves, keeps=species.keeps))


def _signs(t: Translation) -> str:
    """What is seen at the state that a lesson speaks of."""
    if t.state.cue == "after-bloom":
        return "petals limp and falling, new shoots beside them still short"
    seen = next((stage for stage, cue in STAGE_CUES.items() if cue == t.state.cue), t.state.stage)
    seen = "bare" if t.state.cue == "bare" else seen
    return Stage(seen).signs if seen else "go by the tree, not by the date"


def _table(card: Card, dates: list[Asked]) -> tuple[list[str], list[tuple[str, list[tuple[str, str, str]]]]]:
    rows = [(town, [_cell(card.cell(town, asked)) for asked in dates]) for town in card.towns]
    return [card.state(asked) for asked in dates], rows


def _cell(t: Translation) -> tuple[str, str, str]:
    """The date at home, when it is due here, and its range."""
    if t.due is None:
        return asked_words(t), "not in time", ""
    stop = f", stop by {short_date(t.until)}" if t.until and t.in_time else ""
    words = f"{span(t).strip(' ()')}{stop if t.in_time else ', too late'}"
    return asked_words(t), short_date(t.due), _breakable(words)


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
        if t.due is None or t.due_low is None:
            continue
        words.append(f"{asked_words(t)} is {due_words(t)}")
        left, right = _at(t.due_low), _at(t.due_high) if t.due_high else float(DAYS)
        pieces = [(left, right)] if left <= right else [(left, float(DAYS)), (0.0, right)]
        top = LANE * n
        parts += [svg_rect(a, top + 1, max(b - a, 1.0), LANE - 2, "range") for a, b in pieces]
        parts.append(svg_line(_at(asked[0]), top + 1, _at(asked[0]), top + LANE - 1, "home"))
        parts.append(svg_line(_at(t.due), top + 1, _at(t.due), top + LANE - 1, "middle"))
    return svg_drawing(DAYS, tall, f"{town}: {'; '.join(words) or 'nothing to draw'}.", parts, "strip")


def _at(day: date) -> float:
    return float(date(2024, day.month, day.day).timetuple().tm_yday - 1)
