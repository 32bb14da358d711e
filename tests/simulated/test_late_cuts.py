"""Odds that new growth ripens, and last safe days, against simulated gardens whose truth is not the model's.

`python -m tests.simulated.late_cuts 20` runs the whole, for docs/simulated-growers.md.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from tests.simulated.late_cuts import Cut, study

pytestmark = pytest.mark.slow


@cache
def found() -> list[Cut]:
    """Two gardens a climate, before their first season of records and after two."""
    return list(study(2, known=(0, 2)))


def ripened(low: float, high: float) -> tuple[float, float, int]:
    """Of cuts told odds in a range: mean odds, share that ripened, and how many there are."""
    mine = [c for c in found() if low <= c.odds < high and not c.limit]
    return float(np.mean([c.odds for c in mine])), float(np.mean([c.ripe for c in mine])), len(mine)


def test_growth_cut_on_the_last_safe_day_ripens_as_often_as_the_garden_asks():
    last = [c for c in found() if c.limit]
    assert len(last) > 35
    assert np.mean([c.ripe for c in last]) >= 0.9
    assert np.mean([c.hard for c in last]) >= 0.95


@pytest.mark.parametrize(
    ("low", "high", "error"), [(0.0, 0.1, 0.02), (0.1, 0.5, 0.08), (0.5, 0.9, 0.03), (0.9, 1.01, 0.03)]
)
def test_odds_that_growth_ripens_are_no_bolder_than_what_comes(low, high, error):
    told, came, n = ripened(low, high)
    assert n > 35
    assert came >= told - error
    assert came <= told + 0.25  # nor so wary that they say nothing
