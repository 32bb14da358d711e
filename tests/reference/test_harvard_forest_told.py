"""On real trees too, what is told is what is judged: a row of `hindcast` is what a garden's forecast says.

Bud break to full-sized leaves at Harvard Forest (O'Keefe HF003; Boose and Gould HF000 and HF001, not kept
here). The garden holds the looks of the training seasons and, of the season forecast, those of one tree up to
the day of issue: what a forward hindcast knows.
"""

from __future__ import annotations

from collections import defaultdict

import pytest
from numpy.testing import assert_allclose

from phenology.advice.garden_forecast import forecast_garden
from phenology.garden import Garden
from phenology.judging.hindcast import DatedSight, HindcastRow, Question, hindcast
from phenology.model.records import Flush, Look, Place, Stand, Tree
from phenology.model.season import SeasonCalendar
from phenology.model.stages import stage_rank
from phenology.species.catalogue import load_species
from tests.conftest import shared_or_skip
from tests.reference.test_harvard_forest_hindcast import DATA, forest

pytestmark = pytest.mark.slow

NORTH = SeasonCalendar()
PRIOR = {"priors": {"budbreak_extended": {"days": 20.0, "log_sd": 0.4}}}
TRAIN, TEST = (1990, 2001), (2002, 2006)


def rows() -> list[HindcastRow]:
    question = Question("budbreak", "extended", train=TRAIN, test=TEST)
    sights, weather = forest()
    found = hindcast(sights, weather, question, calendar=NORTH, prior_of=lambda name: (20.0, 0.4))
    return list(found.rows)


def garden_of(row: HindcastRow) -> Garden:
    """What the row's hindcast knew, as a garden."""
    sights, weather = forest()
    known = [s for s in sights if s.latest.year <= TRAIN[1] or same_tree(s, row)]
    flushes: dict[tuple[str, int], list[DatedSight]] = defaultdict(list)
    for sight in known:
        flushes[sight.tree, sight.latest.year].append(sight)
    species = {s.tree: s.species for s in sights}
    looks = [
        Look(
            f"{tree}{season}{k}", tree, f"{tree}{season}", as_read(s.stage), str(s.latest), s.latest, s.latest
        )
        for (tree, season), mine in flushes.items()
        for flush in [f"{tree}{season}"]
        for k, s in enumerate(mine)
    ]
    return Garden(
        row.issued,
        NORTH,
        [Place("forest", "Forest", 42.53, -72.19)],
        [Tree(name, name, species[name]) for name in species],
        [Stand(name, name, "forest") for name in species],
        [],
        [Flush(f"{tree}{season}", tree, season, "season") for tree, season in flushes],
        looks,
        [],
        load_species({name: {"names": [name], **PRIOR} for name in set(species.values())}),
        {"forest": weather},
    ).up_to(row.issued)


def same_tree(sight: DatedSight, row: HindcastRow) -> bool:
    return sight.tree == row.wait.tree and sight.latest.year == row.wait.season


def as_read(stage: str) -> str:
    """A hindcast reads a look only as bud break reached or not, full-sized leaves reached or not."""
    reached = [s for s in ("dormant", "budbreak", "extended") if stage_rank(s) <= stage_rank(stage)]
    return reached[-1]


@pytest.mark.parametrize("k", [0, 20, 45, 70])
def test_a_row_of_a_hindcast_is_what_the_garden_s_forecast_says_that_day(k):
    shared_or_skip(DATA)
    row = rows()[k]
    told = next(
        r
        for r in forecast_garden(garden_of(row)).rows
        if (r.tree.id, r.stage, r.flush) == (row.wait.tree, "extended", 1)
    )
    # days missing from past seasons are filled from the usual year, which the garden knows a spring longer
    assert_allclose(told.arrival.quantiles(), row.quantiles, atol=0.05)
    assert told.arrival.p_not == pytest.approx(row.p_not, abs=1e-4)
