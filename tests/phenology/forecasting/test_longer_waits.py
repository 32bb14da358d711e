"""What a wait learned whole does to the chain of its steps."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from phenology.forecasting.propagation import Chain, Step, Whole, propagate
from phenology.learning.transitions import Transition
from tests.phenology.forecasting.test_propagation import DAYS, STAGES, chain, dist, draws, one_a_day

SURE, UNSURE = 0.05, 0.35
BEGAN = 50.0


def bent(whole: float, *, log_sd: float = SURE, weight: float = 1.0, seen=None, steps=(30.0, 30.0, 30.0)):
    """Arrivals of a chain from work whose steps are guesses and whose whole, to hardened, is known."""
    links = [
        Step(
            Transition(start, stage),
            lambda began, days=days: draws(days, log_sd=UNSURE),
            (seen or {}).get(stage, (-np.inf, np.inf)),
            wholes=(Whole("work", lambda began: draws(whole, log_sd=log_sd), weight),)
            if stage == "hardened"
            else (),
        )
        for start, stage, days in zip(("work", *STAGES), STAGES, steps, strict=False)
    ]
    [curves] = propagate([Chain((BEGAN, BEGAN), links)], one_a_day(365), clocks=DAYS)
    return [dist(curve) for curve in curves]


def by_steps(seen=None):
    return [dist(c) for c in chain(BEGAN, *[draws(30, log_sd=UNSURE)] * 3, seen=seen)]


def width(arrival) -> float:
    return arrival.quantile(0.9) - arrival.quantile(0.1)


def test_a_whole_that_is_all_that_is_known_is_told_as_it_was_learned():
    alone = dist(chain(BEGAN, draws(60, log_sd=SURE))[0])
    assert_allclose(bent(60)[-1].quantiles(), alone.quantiles(), atol=0.3)


def test_stages_on_its_way_follow_and_keep_their_order():
    budbreak, extended, hardened = bent(60)
    middles = [a.quantile(0.5) for a in by_steps()]
    assert BEGAN < budbreak.quantile(0.5) < extended.quantile(0.5) < hardened.quantile(0.5)
    assert budbreak.quantile(0.5) < middles[0] - 3 and extended.quantile(0.5) < middles[1] - 10
    assert width(extended) < width(by_steps()[1])


def test_a_look_between_moves_it_as_far_as_the_steps_say_and_never_past_them():
    late = {"budbreak": (BEGAN + 38, BEGAN + 40)}  # nine days late for the whole's own middle of the way
    hardened, unlooked = (bent(60, log_sd=0.15, seen=seen)[-1] for seen in (late, None))
    steps = by_steps(late)[-1]
    assert unlooked.quantile(0.5) < hardened.quantile(0.5) < steps.quantile(0.5)
    assert width(hardened) < width(steps)


def test_a_whole_believed_by_half_lies_between_and_one_not_believed_changes_nothing():
    middles = [bent(60, weight=w)[-1].quantile(0.5) for w in (1e-9, 0.5, 1.0)]
    assert middles == sorted(middles, reverse=True)
    assert_allclose(middles[0], by_steps()[-1].quantile(0.5), atol=0.2)


def test_a_whole_that_contradicts_the_steps_is_believed():
    assert_allclose(bent(20)[-1].quantile(0.5), BEGAN + 20, atol=0.5)
    assert_allclose(bent(200)[-1].quantile(0.5), BEGAN + 200, atol=2)


@settings(max_examples=25)
@given(
    whole=st.floats(15, 200),
    log_sd=st.floats(0.03, 0.5),
    weight=st.floats(0.05, 1),
    budbreak=st.none() | st.floats(5, 80),
)
def test_curves_stay_distributions_in_order(whole, log_sd, weight, budbreak):
    seen = {} if budbreak is None else {"budbreak": (BEGAN + budbreak - 3, BEGAN + budbreak)}
    curves = [a.curve for a in bent(whole, log_sd=log_sd, weight=weight, seen=seen)]
    for curve in curves:
        assert np.isfinite(curve).all()
        assert curve.min() >= 0 and curve.max() <= 1 + 1e-9
        assert (np.diff(curve) >= -1e-9).all()
    for earlier, later in itertools.pairwise(curves):
        assert (earlier >= later - 1e-6).all()


@pytest.mark.parametrize("by", [BEGAN + 45, BEGAN + 70])
def test_a_stage_not_come_by_today_lies_ahead(by):
    found = bent(60, seen=dict.fromkeys(STAGES, (by, np.inf)))
    assert all(a.chance_by(by) < 0.02 and a.quantile(0.5) > by for a in found)
