"""Real trees of which only the dates of full-sized leaves were kept: with bud breaks hidden, little is lost.

Harvard Forest (O'Keefe HF003; Boose and Gould HF000 and HF001, not kept here): each of 17 seasons is forecast
on 1 April from the 16 others, once from both stages of every tree and once from the leaves alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache

import numpy as np
import pytest

from phenology.forecasting.flush_forecast import forecast_stages
from phenology.garden import Garden
from phenology.judging.rivals import usual_date
from phenology.judging.verification import score_dates
from phenology.learning.garden_fit import GardenFit
from phenology.learning.waits import Wait
from phenology.model.records import Flush, Look, Place, Stand, Tree
from phenology.model.season import SeasonCalendar
from phenology.model.stages import stage_rank
from phenology.species.catalogue import load_species
from tests.conftest import shared_or_skip
from tests.reference.test_harvard_forest_hindcast import DATA, forest

pytestmark = pytest.mark.slow

NORTH = SeasonCalendar()
PRIORS = {
    "start_budbreak": {"days": 15.0, "log_sd": 0.4},
    "budbreak_extended": {"days": 20.0, "log_sd": 0.4},
}


@dataclass(frozen=True)
class Came:
    """A stage of one tree in one season: the looks either side of it."""

    tree: str
    season: int
    stage: str
    after: date
    by: date


@cache
def stages() -> tuple[Came, ...]:
    """Both stages of every tree and season that two looks bracket."""
    sights, _ = forest()
    found = []
    for tree, season in sorted({(s.tree, s.latest.year) for s in sights}):
        mine = [s for s in sights if (s.tree, s.latest.year) == (tree, season)]
        for stage in ("budbreak", "extended"):
            reached = [s.latest for s in mine if stage_rank(s.stage) >= stage_rank(stage)]
            before = [s.latest for s in mine if stage_rank(s.stage) < stage_rank(stage)]
            if reached and before and max(before) < min(reached):
                found.append(Came(tree, season, stage, max(before), min(reached)))
    return tuple(found)


def garden(kept: tuple[str, ...]) -> Garden:
    """A garden whose grower kept the dates of these stages."""
    sights, weather = forest()
    species = {s.tree: s.species for s in sights}
    came = [c for c in stages() if c.stage in kept]
    looks = [
        Look(f"{c.tree}{c.season}{c.stage}", c.tree, f"{c.tree}{c.season}", c.stage, "",
             date.fromordinal(c.after.toordinal() + 1), c.by, kind="happened")
        for c in came
    ]  # fmt: skip
    return Garden(
        date(2007, 12, 31),
        NORTH,
        [Place("forest", "Forest", 42.53, -72.19)],
        [Tree(name, name, species[name]) for name in species],
        [Stand(name, name, "forest") for name in species],
        [],
        [Flush(f"{t}{s}", t, s, "season") for t, s in sorted({(c.tree, c.season) for c in came})],
        looks,
        [],
        load_species({name: {"names": [name], "priors": PRIORS} for name in set(species.values())}),
        {"forest": weather},
    )


@cache
def crps_by_season(kept: tuple[str, ...]) -> dict[int, float]:
    """Mean CRPS of the leaves' date in each season, forecast on 1 April from all others.

    Where nothing is kept, of their usual date.
    """
    all_years = garden(("budbreak", "extended"))
    species = {t.id: t.species for t in all_years.trees}
    leaves = {(c.tree, c.season): c for c in stages() if c.stage == "extended"}
    scores = {}
    for season in sorted({c.season for c in leaves.values()}):
        here = {tree: c for (tree, s), c in leaves.items() if s == season}
        if kept:
            known = garden(kept).known_on(date(season, 4, 1))
            told = {
                one.history.tree.id: one.arrival.quantiles()
                for one in forecast_stages(known, GardenFit(known))
                if one.stage == "extended" and one.history.flush.season == season
            }
        else:
            others = [wait(c, species) for c in leaves.values() if c.season != season]
            told = {tree: tuple(usual_date(others, wait(c, species))) for tree, c in here.items()}
        rows = [tree for tree in here if tree in told]
        ends = [[NORTH.day(day) for day in (here[t].after, here[t].by)] for t in rows]
        after, by = np.array(ends, dtype=float).T
        scores[season] = float(score_dates(np.array([told[t] for t in rows]), after, by).crps.mean())
    return scores


def wait(c: Came, species: dict[str, str]) -> Wait:
    ends = (float(NORTH.day(c.after)), float(NORTH.day(c.by)))
    return Wait(species[c.tree], c.tree, c.season, False, (0.0, 0.0), ends)


def test_leaves_alone_forecast_leaves_as_well_as_both_stages():
    shared_or_skip(DATA)
    both, alone, usual = (
        float(np.mean(list(crps_by_season(kept).values())))
        for kept in (("budbreak", "extended"), ("extended",), ())
    )
    assert alone <= both + 0.5
    assert alone <= usual
