"""What the rules of work say of a piece of work, for `flushcast work`: it is told, never refused."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from phenology.advice.adviser import late_seasons
from phenology.garden import Garden
from phenology.language.tree_selection import label_list
from phenology.model.errors import FlushcastError
from phenology.model.records import Tree, Work
from phenology.work.case import Case
from phenology.work.last_safe import Late, WorkSeason
from phenology.work.rules import Finding, check_work
from reports.garden.open_garden import OpenGarden
from reports.text.words import in_units


def objections(opened: OpenGarden, trees: Sequence[Tree], work: Work) -> tuple[str, ...]:
    """What stands against a piece of work, or is to be minded, a sentence a rule; trees drawn together.

    A garden that cannot be read whole (no weather yet, say) is judged by what there is.
    """
    if not trees:
        return ()
    day = work.latest
    garden = opened.snapshot(day if day < opened.today else None)
    seasons = late_seasons(garden) if work.operation.wakes else None
    by_rule: dict[tuple[str, str], tuple[Finding, list[str]]] = {}
    for tree in trees:
        late = _late(garden, seasons, tree)
        case = Case(garden, tree, work.operation, day, work.part, work.note or "", work.early, late)
        for finding in check_work(case):
            by_rule.setdefault((finding.rule, finding.sentence), (finding, []))[1].append(tree.label)
    sentences = _sentences(list(by_rule.values()), len(trees))
    return tuple(in_units(sentence, opened.settings.units) for sentence in sentences)


def _late(garden: Garden, seasons: WorkSeason | None, tree: Tree) -> Late | None:
    if seasons is None:
        return None
    try:
        return seasons.late(tree.species, garden.site(tree, garden.season))
    except FlushcastError:
        return None


def _sentences(found: Sequence[tuple[Finding, list[str]]], trees: int) -> Iterator[str]:
    """What forbids first; labels where a sentence is not of the only tree."""
    for finding, labels in sorted(found, key=lambda pair: not pair[0].forbids):
        who = f"{label_list(labels)}: " if trees > 1 or finding.forbids else ""
        sentence = finding.sentence.removeprefix(f"{labels[0]} is ") if who else finding.sentence
        yield f"{who or ''}{sentence if who else f'{sentence[:1].upper()}{sentence[1:]}'}."
    if any(finding.forbids for finding, _ in found):
        yield "Written down all the same."
