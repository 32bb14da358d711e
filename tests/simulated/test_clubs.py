"""A new member's first season with what five others share, against the catalogue's guess."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.simulated.climates import CLIMATES
from tests.simulated.clubs import club, first_season
from tests.simulated.study import crps

pytestmark = pytest.mark.slow


@cache
def scores(alike: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """CRPS by the catalogue alone and with the club [days], and whether the 80 % range held, of both."""
    rows, inside = [], []
    for seed in range(4):
        here = CLIMATES[seed]
        # where they are not alike, all five grow in the climate that is most unlike, and trees of other stock
        there = here if alike else CLIMATES[4] if here.mean < 12 else CLIMATES[0]
        members = club(here, [there] * 5, seed, far=0.0 if alike else 1.0)
        for forecast in zip(*first_season(members, seed), strict=True):
            rows.append([crps([f.quantiles], [f.truth])[0] for f in forecast])
            inside.append([f.quantiles[0] <= f.truth <= f.quantiles[4] for f in forecast])
    by_catalogue, by_club = np.array(rows).T
    return by_catalogue, by_club, np.array(inside)


def test_where_climates_are_alike_the_first_season_gains_a_quarter_and_more():
    by_catalogue, by_club, inside = scores(alike=True)
    assert len(by_club) >= 24
    assert by_club.mean() <= 0.75 * by_catalogue.mean()
    assert inside[:, 1].mean() >= 0.7


def test_where_they_are_not_it_is_never_worse_beyond_noise():
    by_catalogue, by_club, inside = scores(alike=False)
    worse = by_club - by_catalogue
    assert worse.mean() <= worse.std() / np.sqrt(len(worse))
    assert inside[:, 1].mean() >= 0.7
