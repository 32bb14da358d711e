"""Real trees as a club: a tree's first season, with what other trees of its species share, against the guess.

Bud break to full-sized leaves at Harvard Forest (O'Keefe HF003; Boose and Gould HF000 and HF001, not kept
here). Each species is given to a club of growers of one tree each, with seven seasons of looks; one more tree
is new. All stand in one forest, so that climates are alike. Species are masked and start from one neutral
guess.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.judging.hindcast import DatedSight
from phenology.judging.verification import score_dates
from phenology.learning.sharing import shared_steps
from phenology.model.records import Flush, Look, Place, Stand, Tree
from phenology.model.season import SeasonCalendar
from phenology.model.shared_calibration import SharedCalibration
from phenology.model.stages import stage_rank
from phenology.species.catalogue import load_species
from tests.conftest import shared_or_skip
from tests.reference.test_harvard_forest_hindcast import DATA, forest

pytestmark = pytest.mark.slow

LEARNED, NEW = range(1990, 1997), (1998, 2000, 2002, 2004)
MEMBERS = 3
GUESS = {"priors": {"budbreak_extended": {"days": 20.0, "log_sd": 0.4}}}


def garden(sights: list[DatedSight]) -> Garden:
    """A garden of one tree's looks, on the day of the last."""
    tree, species, last = sights[0].tree, sights[0].species, max(s.latest for s in sights)
    looks = [
        Look(f"{k}", tree, f"{s.latest.year}", s.stage, str(s.latest), s.latest, s.latest)
        for k, s in enumerate(sights)
    ]
    _, weather = forest()
    return Garden(
        last,
        SeasonCalendar(),
        [Place("forest", "Forest", 42.53, -72.19)],
        [Tree(tree, tree, species)],
        [Stand(tree, tree, "forest")],
        [],
        [Flush(str(season), tree, season, "season") for season in sorted({s.latest.year for s in sights})],
        looks,
        [],
        load_species({species: {"names": [species], **GUESS}}),
        {"forest": weather},
    ).up_to(last)


def clubs() -> Iterator[tuple[list[SharedCalibration], list[DatedSight]]]:
    """Of each species what three trees share, and the looks at a fourth."""
    sights, _ = forest()
    for species in "ABCD":
        mine = [s for s in sights if s.species == species]
        trees = sorted({s.tree for s in mine})
        new, others = trees[0], trees[1 : 1 + MEMBERS]
        shared = []
        for k, tree in enumerate(others):
            one = garden([s for s in mine if s.tree == tree and s.latest.year in LEARNED])
            shared.append(SharedCalibration(f"{k:016x}", tree, one.climate, tuple(shared_steps(one))))
        yield shared, [s for s in mine if s.tree == new]


def test_a_tree_s_first_season_gains_a_quarter_by_what_its_kin_share():
    shared_or_skip(DATA)
    quantiles: list[tuple[tuple[float, ...], tuple[float, ...]]] = []
    came: list[tuple[int, int]] = []
    for shared, looks in clubs():
        for season in NEW:
            mine = sorted((s for s in looks if s.latest.year == season), key=lambda s: s.latest)
            broken = [s for s in mine if stage_rank(s.stage) >= stage_rank("budbreak")]
            grown = [s for s in mine if stage_rank(s.stage) >= stage_rank("extended")]
            if not broken or not grown or broken[0] is grown[0]:
                continue
            now = garden(mine[: mine.index(broken[0]) + 1])
            told = [
                next(
                    row.arrival.quantiles()
                    for row in forecast_garden(replace(now, shared=known)).rows
                    if row.stage == "extended" and row.flush == 1 and row.arrival is not None
                )
                for known in ([], shared)
            ]
            before = mine[mine.index(grown[0]) - 1]
            quantiles.append((told[0], told[1]))
            came.append((before.latest.timetuple().tm_yday, grown[0].latest.timetuple().tm_yday))
    assert len(came) >= 12
    after, by = np.array(came, dtype=float).T
    guess, club = (score_dates(np.array([q[k] for q in quantiles]), after, by) for k in (0, 1))
    assert club.crps.mean() <= 0.75 * guess.crps.mean()
    inside = [q[1][0] <= (a + b) / 2 <= q[1][4] for q, a, b in zip(quantiles, after, by, strict=True)]
    assert np.mean(inside) >= 0.65
