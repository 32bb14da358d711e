"""Until when each tree may be cut, without a forecast of its flushes."""

from __future__ import annotations

import math

from phenology.advice.adviser import late_seasons
from phenology.garden import Garden
from phenology.model.errors import WeatherError
from phenology.work.last_safe import is_old


def stop_days(garden: Garden) -> dict[str, float]:
    """The last safe day of the season by tree id, of trees that are refined by their leaves.

    Trees without a limit, without a safe day or without weather are left out.
    """
    seasons, found = late_seasons(garden), dict[str, float]()
    for tree in garden.standing_trees:
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
