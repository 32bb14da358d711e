"""What a garden shares: its own looks alone, without the catalogue and without what others told it."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from functools import cache

import numpy as np
import pytest

from phenology.garden import Garden
from phenology.learning.garden_fit import GardenFit
from phenology.learning.learned_from import learned_from
from phenology.learning.sharing import SHARED, shared_steps
from phenology.learning.transitions import Transition
from phenology.model.shared_calibration import SharedCalibration, SharedStep
from tests.phenology.gardens import ELM, Records

STEP = Transition("budbreak", "extended")


@cache
def garden() -> Garden:
    """Two elms over three seasons, looked at before and after each change."""
    records = Records()
    for name in ("Elm 1", "Elm 2"):
        records.tree(name)
        for season in (2017, 2018, 2019):
            flush = records.flush(name, season)
            stages = ("dormant", "budbreak", "extending", "extended", "extended", "hardened")
            for n, stage in zip((80, 95, 118, 123, 136, 141), stages, strict=True):
                records.look(flush, n, stage)
    return records.garden(date(2020, 3, 1))


@cache
def told() -> dict[Transition, SharedStep]:
    return {Transition(s.start, s.target): s for s in shared_steps(garden())}


def test_every_step_that_looks_followed_is_told_with_what_it_rests_on():
    assert set(told()) == {t for t in SHARED if t.start != "work"}
    (wait,) = told()[STEP].waits
    assert (wait.species, wait.seasons, wait.trees, wait.looks) == (ELM, 3, 2, 36)
    assert max(told()[STEP].clocks.values()) == 1.0
    assert not told()[STEP].later  # no later flush was seen


def test_plain_days_are_those_between_the_looks():
    days = told()[STEP].waits[0].readings["plain days"]
    assert math.exp(days.log) == pytest.approx(33, abs=3)  # from (80, 95] to (118, 123]
    assert 0.03 < days.sd < 0.2


def test_the_catalogue_is_not_told_again():
    """Twice the catalogue's days, and the looks still say what they said."""
    species = dict(garden().species)
    elm = species[ELM]
    prior = elm.priors["budbreak_extended"]
    priors = {**elm.priors, "budbreak_extended": replace(prior, days=2 * prior.days)}
    species[ELM] = replace(elm, priors=priors)
    other = {Transition(s.start, s.target): s for s in shared_steps(replace(garden(), species=species))}
    assert other == told()


def test_what_came_from_others_is_not_passed_on():
    one = SharedCalibration("0" * 16, "anna", garden().climate, tuple(told().values()))
    assert list(shared_steps(replace(garden(), shared=[one]))) == list(told().values())


def test_learning_from_a_garden_brings_a_new_one_near_to_what_it_saw():
    one = SharedCalibration("0" * 16, "anna", garden().climate, tuple(told().values()))
    new = replace(garden(), flushes=[], looks=[], shared=[one])
    fit, alone = GardenFit(new), GardenFit(replace(new, shared=[]))
    own, mine, guess = (
        each.requirement(STEP).predict(ELM, "", 2020, False, 95.0, lean=False)
        for each in (GardenFit(garden()), fit, alone)
    )
    for clock in set(own.clock) & set(mine.clock) & set(guess.clock):
        target, near, far = (float(np.mean(p.mean[p.clock == clock])) for p in (own, mine, guess))
        assert abs(near - target) < 0.3 * abs(far - target) + 0.02
    rows = [row for row in learned_from(fit) if row.transition == STEP]
    assert [(row.garden, row.climate, row.weight) for row in rows] == [("anna", "alike", pytest.approx(1))]
    assert fit.prior_share(ELM, STEP) == 1.0  # none of it is the garden's own
