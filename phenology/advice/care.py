"""Care that work done asks for now and in the days to come, tree by tree, looks at wire among it."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass, field
from datetime import date
from functools import partial

import numpy as np

from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS
from phenology.model.records import Tree, Work
from phenology.work.aftercare import LONGEST_DAYS, aftercare
from phenology.work.wire_watch import wire_check

WIRE = "wire"
GROWTH_CLOCK = "heat above 5"  # that thickens a shoot into its wire (ours)


@dataclass(frozen=True)
class CareDue:
    """One thing to do or to look for on one tree, because of work done, the weather or the time of year.

    Attributes
    ----------
    tree : Tree
    care : str
        A word for it: that of `Care`, or "wire".
    first, last : date
        From when to when; equal for one day.
    what : str
        What to do, as a sentence without its end.
    work : Work or None
        What asks for it; None for what the time of year or the weather asks.
    due : bool
        Whether today lies between the two days, or past a look at wire.
    look : bool
        Whether it is a look, rather than a way of keeping the tree.
    """

    tree: Tree
    care: str
    first: date
    last: date
    what: str
    work: Work | None = field(repr=False)
    due: bool
    look: bool


def care_due(garden: Garden, late: Container[str] = ()) -> list[CareDue]:
    """Care that is not over yet and the next look at each wire, soonest first.

    Parameters
    ----------
    garden : Garden
    late : container of str
        Ids of trees whose newest growth may well meet frost before it is hard.
    """
    today, found = garden.as_of, []
    for tree in garden.standing_trees:
        works = garden.works_by_tree.get(tree.id, [])
        for work in works:
            if (today - work.latest).days > LONGEST_DAYS:
                continue
            for care in aftercare(
                work, tree, garden.species_of(tree), garden.aim_of(tree), late=tree.id in late
            ):
                if care.last >= today:
                    due = care.first <= today
                    found.append(
                        CareDue(tree, care.name, care.first, care.last, care.sentence, work, due, care.look)
                    )
        looks, growth = garden.looks_by_tree.get(tree.id, []), partial(growing_days, garden, tree)
        check = wire_check(works, looks, today, garden.calendar, vigour=tree.vigour, growth=growth)
        if check is not None:
            due = check.due <= today
            found.append(
                CareDue(tree, WIRE, check.due, check.due, check.sentence, check.wired, due, look=True)
            )
    return sorted(found, key=lambda c: (c.first, c.tree.label, c.care))


def growing_days(garden: Garden, tree: Tree, first: date, last: date) -> float | None:
    """Days at a constant 18 degC that the weather between two dates is worth; None when unknown."""
    series = garden.weather.get(garden.place_of(tree, last).id)
    if series is None or first < series.first_day or last > series.last_day:
        return None
    part = series.between(first, last)
    clock = next(c for c in CLOCKS if c.name == GROWTH_CLOCK)
    rates = clock.rates(part.tmin, part.tmax)
    return float(np.nansum(rates)) if np.isfinite(rates).mean() > 0.8 else None
