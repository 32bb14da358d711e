"""The choice between clocks is tempered: a handful of seasons does not settle it."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

from phenology.heat.clocks import CLOCKS, DAYS_CLOCK, HEAT_CLOCKS, USUAL_WEIGHTS, Clock
from tests.phenology.worlds import fit, simulated_waits

TRUTH = Clock("truth", "sine", 5.0)


def shares_of(seasons: int, temper: float) -> np.ndarray:
    waits = simulated_waits(TRUTH, range(1996, 1996 + seasons), trees=6, anchors=(90, 140), seed=2)
    return fit(waits, temper=temper).clock_shares


def test_with_nothing_counted_the_prior_weights_stand() -> None:
    assert_allclose(shares_of(6, temper=0.0), USUAL_WEIGHTS, rtol=1e-9)


def test_tempering_keeps_a_say_for_clocks_that_the_full_evidence_would_silence() -> None:
    full, tempered = shares_of(20, temper=1.0), shares_of(20, temper=0.1)
    losers = full < 1e-6
    assert losers.any()
    assert tempered[losers].sum() > 100 * full[losers].sum()
    assert tempered[CLOCKS.index(DAYS_CLOCK)] < USUAL_WEIGHTS[CLOCKS.index(DAYS_CLOCK)]


def test_tempering_leaves_the_best_clock_the_best() -> None:
    full, tempered = shares_of(20, temper=1.0), shares_of(20, temper=0.1)
    assert int(full.argmax()) == int(tempered.argmax()) < len(HEAT_CLOCKS)
