"""The round as text to carry, as a sheet to print and as a CSV to fill in."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from phenology.advice.agenda import Review, Round
from phenology.advice.visits import Visit
from phenology.garden import Garden
from phenology.work.cautions import ROUND_LOOKS_FIRST, cautions
from reports.text.words import capital, full_date, short_date, tree_names, weekday_full_date, wrapped

WIDTH = 80
NOTHING_DECIDES = "No look is likely to change a decision today: on every tree the chance is under 1 in 4."
SHEET_COLUMNS = ("date", "tree", "stage", "checked", "note", "look for")


def round_text(walk: Round, closing: Sequence[str] = (), width: int = WIDTH) -> str:
    """The round, most pressing first, place by place; the review when nothing grows; `closing` ends it."""
    lines = [f"Round of {weekday_full_date(walk.day)}", ""]
    several = len({v.place for v in walk.visits}) > 1
    for group in _together(walk.visits):
        lines += wrapped(_sentence(group, several), width)
    if walk.review is not None:
        lines += [line for text in review_lines(walk.review) for line in wrapped(text, width)]
    elif not walk.visits:
        lines += wrapped(NOTHING_DECIDES, width)
    if closing:
        lines += ["", *(line for text in closing for line in wrapped(text, width))]
    return "\n".join(lines)


def round_sheet(walk: Round, width: int = 80) -> str:
    """A sheet to print: a box a tree, room to write; no wider than paper takes."""
    lines = [f"Round of {weekday_full_date(walk.day)}      who: ______________", ""]
    for visit in walk.visits:
        lines.append(f"[ ] {visit.tree.label:<24} {visit.place}")
        words = f"    look for: {'; '.join(filter(None, (visit.look_for, visit.because)))}"
        lines += textwrap.wrap(words, width, subsequent_indent="    ")
        lines += ["    stage: ____________________  note: ________________________________________", ""]
    if not walk.visits:
        lines.append("Nothing to look at today.")
    lines.append("stage: dormant  swelling  budbreak  extending  extended  hardened  turning  bare")
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
    because = f" {capital(first.because)}." if first.because else ""
    return f"{names}{where}: {first.look_for}.{because}{until}"


def review_lines(review: Review) -> Iterator[str]:
    """What there is to do when nothing grows, a paragraph each."""
    yield "Nothing grows, and hardly a look decides anything. Time to review the year: flushcast compare."
    early, usual = review.first_frost
    if review.share == 0:
        yield "No frost on record here."
    elif usual is not None:
        soon = f", in one year of ten by {full_date(early)}" if early else ""
        yield f"First frost: usually by {full_date(usual)}{soon}; have covers ready before."
    elif early is not None:
        yield f"First frost: in {review.share:.0%} of winters; in one year of ten by {full_date(early)}."
    middle, late = review.last_frost
    if middle is not None:
        rare = f", but in one year of ten after {full_date(late)}" if late else ""
        covers = "; covers stay at hand till then" if late else ""
        yield f"Last frost: usually by {full_date(middle)}{rare}{covers}."
    if review.repot:
        names = tree_names([tree.label for tree, _ in review.repot])
        yield f"Repot watch: {names}: look at roots when buds swell; two years since the last, or unknown."


def round_cautions(walk: Round, garden: Garden) -> Iterator[str]:
    """What to mind with the work that the walk may lead to."""
    trees = [v.tree for v in walk.visits if v.operation]
    if trees:
        operations = tuple(dict.fromkeys(v.operation for v in walk.visits if v.operation))
        yield from cautions(operations, [garden.species_of(t) for t in trees], len(trees))
        yield ROUND_LOOKS_FIRST
