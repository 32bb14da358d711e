"""The round as text to carry, as a sheet to print and as a CSV to fill in."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from datetime import date

from phenology.advice.round import Review, Round, Visit
from phenology.garden import Garden
from phenology.work.cautions import cautions
from reports.text.words import full_date, short_date, tree_names, weekday_full_date

WIDTH = 80
SHEET_COLUMNS = ("date", "tree", "stage", "checked", "note", "look for")


def round_text(walk: Round, garden: Garden, width: int = WIDTH) -> str:
    """The round, most pressing first, place by place; the review when nothing grows."""
    lines = [f"Round of {weekday_full_date(walk.day)}", ""]
    several = len({v.place for v in walk.visits}) > 1
    for group in _together(walk.visits):
        lines += _wrapped(_sentence(group, several), width)
    if walk.review is not None:
        lines += [line for text in _review(walk.review) for line in _wrapped(text, width)]
    elif not walk.visits:
        lines += _wrapped("No look would change a decision today.", width)
    minded = list(_cautions(walk, garden))
    if minded:
        lines.append("")
        for text in minded:
            lines += _wrapped(text, width)
    return "\n".join(lines)


def round_sheet(walk: Round, width: int = 100) -> str:
    """A sheet to print: a box a tree, room to write."""
    lines = [f"Round of {weekday_full_date(walk.day)}      who: ______________", ""]
    for visit in walk.visits:
        lines.append(f"[ ] {visit.tree.label:<24} {visit.place}")
        lines += textwrap.wrap(
            f"look for: {visit.look_for}; {visit.because}",
            width,
            initial_indent="    ",
            subsequent_indent="    ",
        )
        lines += ["    stage: ____________________  note: ________________________________________", ""]
    if not walk.visits:
        lines.append("Nothing to look at today.")
    lines.append("stages: dormant  swelling  budbreak  extending  extended  hardened  turning  bare")
    return "\n".join(lines)


def sheet_rows(walk: Round) -> list[tuple[str, ...]]:
    """The rows of the CSV sheet: stage, checked and note are left for the grower."""
    seen: dict[str, list[Visit]] = {}
    for visit in walk.visits:
        seen.setdefault(visit.tree.label, []).append(visit)
    return [
        (walk.day.isoformat(), label, "", "", "", "; ".join(v.look_for for v in visits))
        for label, visits in seen.items()
    ]


def _together(visits: Sequence[Visit]) -> Iterator[list[Visit]]:
    groups: dict[tuple[object, ...], list[Visit]] = {}
    for visit in visits:
        key = (visit.rank, visit.place, visit.look_for, visit.because, visit.by)
        groups.setdefault(key, []).append(visit)
    yield from groups.values()


def _sentence(group: Sequence[Visit], several_places: bool) -> str:
    first = group[0]
    names = tree_names([v.tree.label for v in group])
    where = f" ({first.place})" if several_places else ""
    until = f" By {short_date(first.by)}." if first.by is not None else ""
    return f"{names}{where}: {first.look_for}. {_capital(first.because)}.{until}"


def _review(review: Review) -> Iterator[str]:
    yield "Nothing grows, and no look would change a decision. Time to review the year: flushcast compare."
    early, usual = review.first_frost
    if review.share == 0:
        yield "No frost on record here."
    elif usual is not None:
        soon = f", in one year of ten by {_dated(early)}" if early else ""
        yield f"First frost: usually by {_dated(usual)}{soon}; have covers ready before."
    elif early is not None:
        yield f"First frost: in {review.share:.0%} of winters; in one year of ten by {_dated(early)}."
    middle, late = review.last_frost
    if middle is not None:
        yield f"Last frost: usually by {_dated(middle)}" + (
            f", but in one year of ten after {_dated(late)}; covers stay at hand till then." if late else "."
        )
    if review.repot:
        names = tree_names([tree.label for tree, _ in review.repot])
        yield f"Repot watch: {names}: look at roots when buds swell; two years since the last, or unknown."


def _dated(day: date) -> str:
    return full_date(day)


def _cautions(walk: Round, garden: Garden) -> Iterator[str]:
    operations = tuple(dict.fromkeys(v.operation for v in walk.visits if v.operation))
    if not operations:
        return
    trees = [v.tree for v in walk.visits if v.operation]
    yield from cautions(operations, [garden.species_of(t) for t in trees], len(trees))
    yield "The round says what to look at; the leaf decides."


def _capital(text: str) -> str:
    return f"{text[:1].upper()}{text[1:]}"


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="  ", break_on_hyphens=False)
