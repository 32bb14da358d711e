"""Real trees: a season of records already beats the species guess, and looks sharpen the rest.

Harvard Forest, as in `test_harvard_forest_hindcast`; the whole is `tests/benchmarks/learning_curves.py`.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.learning_curves import by_season, cases, lead_times, learning_curve
from tests.conftest import shared_or_skip
from tests.reference.test_harvard_forest_hindcast import DATA

pytestmark = pytest.mark.slow


@pytest.fixture(autouse=True)
def data():
    shared_or_skip(DATA)


def test_every_tree_season_is_there():
    assert len(cases()) == 277


def test_one_tree_and_few_seasons_are_better_than_the_prior_alone():
    points = list(learning_curve(1, (1, 5), (1,), "AC"))
    crps = {}
    for seasons in (1, 5):
        crps[seasons], prior, gain, error = by_season([p for p in points if p.seasons == seasons])
        assert crps[seasons] < prior and gain > error
    assert crps[5] < crps[1]


def test_this_seasons_looks_sharpen_the_last_week():
    leads = list(lead_times((7,), "A", every=4))
    assert len(leads) >= 4
    assert np.mean([v.with_looks for v in leads]) < np.mean([v.weather_alone for v in leads])
