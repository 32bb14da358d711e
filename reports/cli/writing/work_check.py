"""What the rules of work say of a piece of work, for `flushcast work`: it is told, never refused."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from phenology.advice.adviser import late_seasons
from phenology.garden import Garden
from phenology.language.tree_selection import label_list
from phenology.model.errors import FlushcastError
from phenology.model.records import Tree
from phenology.work.case import Case
from phenology.work.last_safe import Late, WorkSeason
from phenology.work.rules import WAKING, Finding, check_work
from reports.cli.writing.desk import Desk


def objections(
    desk: Desk, trees: Sequence[Tree], operation: str, day: date, *, part: str | None, note: str, early: bool
) -> tuple[str, ...]:
    """What stands against a piece of work, or is to be minded, a sentence a rule; trees drawn together.

    A garden that cannot be read whole (no weather yet, say) is judged by what there is.
    """
    if not trees:
        return ()
    from reports.garden.snapshot import read_garden

    garden, _ = read_garden(desk.folder, day, past=day < desk.today)
    seasons = late_seasons(garden) if operation in WAKING else None
    by_rule: dict[tuple[str, str], tuple[Finding, list[str]]] = {}
    for tree in trees:
        late = _late(garden, seasons, tree)
        case = Case(garden, tree, operation, day, part, note, early, late)
        for finding in check_work(case):
            by_rule.setdefault((finding.rule, finding.sentence), (finding, []))[1].append(tree.label)
    return tuple(_told(list(by_rule.values()), len(trees)))


def _late(garden: Garden, seasons: WorkSeason | None, tree: Tree) -> Late | None:
    if seasons is None:
        return None
    try:
        return seasons.late(tree.species, garden.site(tree, garden.season))
    except FlushcastError:
        return None


def _told(found: Sequence[tuple[Finding, list[str]]], trees: int) -> Iterator[str]:
    """Sentences, what forbids first."""
    for finding, labels in sorted(found, key=lambda f: not f[0].forbids):
        who = f"{label_list(labels)}: " if trees > 1 or finding.forbids else ""
        sentence = finding.sentence.removeprefix(f"{labels[0]} is ") if who else finding.sentence
        start = sentence if who else f"{sentence[:1].upper()}{sentence[1:]}"
        yield f"{who}{start}."
    if any(finding.forbids for finding, _ in found):
        yield "Written down all the same."
