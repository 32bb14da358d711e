"""Until when each tree may be cut, with or without a forecast of its flushes."""

from __future__ import annotations

import math
from collections.abc import Collection

from phenology.advice.adviser import late_seasons
from phenology.garden import Garden
from phenology.model.errors import WeatherError
from phenology.work.last_safe import WorkSeason, is_old


def stop_days(
    garden: Garden, seasons: WorkSeason | None = None, only: Collection[str] | None = None
) -> dict[str, float]:
    """The last safe day of the season by tree id, of trees that are refined by their leaves; all, or some.

    A forecast brings its `seasons` along; else they are worked out. Trees without a limit, without a safe
    day or without weather are left out.
    """
    seasons, found = seasons or late_seasons(garden), dict[str, float]()
    for tree in garden.standing_trees:
        if only is not None and tree.id not in only:
            continue
        if garden.aim_of(tree) != "refining" or garden.species_of(tree).bloom_led:
            continue
        try:
            late = seasons.late(tree.species, garden.site(tree, garden.season))
        except WeatherError:
            continue
        day = late.stop(garden.limits.required(is_old(tree.vigour, tree.note))).day
        if math.isfinite(day):
            found[tree.id] = day
    return found
