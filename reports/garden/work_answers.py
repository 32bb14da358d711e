"""What the rules of work say of a piece of work on a garden's trees, before it is done or as it is noted."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from phenology.advice.adviser import late_seasons
from phenology.model.records import Tree, Work
from phenology.work.answer import Answer, may_i
from phenology.work.case import Case
from reports.garden.open_garden import OpenGarden


def work_answers(opened: OpenGarden, trees: Sequence[Tree], work: Work) -> Iterator[tuple[Tree, Answer]]:
    """The answer for each tree; a garden without weather yet is judged by what there is.

    Parameters
    ----------
    opened : OpenGarden
    trees : sequence of Tree
    work : Work
        Of no tree yet; its last day is the one that is asked about.
    """
    if not trees:
        return
    day = work.latest
    garden = opened.snapshot(day if day < opened.today else None)
    seasons = late_seasons(garden) if work.operation.wakes else None
    for tree in trees:
        late = seasons.late(tree.species, garden.site(tree, garden.season)) if seasons else None
        yield (
            tree,
            may_i(Case(garden, tree, work.operation, day, work.part, work.note or "", work.early, late)),
        )
