"""From stage to stage: the steps of a wait and the prior they add up to."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from phenology.heat.clocks import CLOCKS, HEAT_CLOCKS
from phenology.learning.transitions import SHORTENED_DAYS, Transition, all_transitions, prior_of_transition
from phenology.species.catalogue import load_species, neutral_species
from tests.phenology.gardens import ELM


@pytest.mark.parametrize(
    "start, target, steps",
    [
        ("start", "budbreak", ["start to budbreak"]),
        ("work", "extended", ["work to budbreak", "budbreak to extended"]),
        ("start", "hardened", ["start to budbreak", "budbreak to extended", "extended to hardened"]),
    ],
)
def test_a_wait_is_made_of_single_steps(start, target, steps):
    links = Transition(start, target).links()
    assert [f"{t.start} to {t.target}" for t in links] == steps
    assert Transition(start, target).words.startswith("season's start" if start == "start" else "work")


def test_every_wait_is_there_once():
    waits = list(all_transitions())
    assert len(waits) == len(set(waits)) == 9
    assert Transition("extended", "hardened") in waits


@pytest.mark.parametrize("species", [load_species()[ELM], neutral_species("Ficta arbor")])
def test_days_of_steps_add_up_and_their_doubts_add_in_squares(species):
    steps = [species.prior("budbreak", "extended"), species.prior("extended", "hardened")]
    days, log_sd = prior_of_transition(species, Transition("budbreak", "hardened"))
    each = np.array([p.days for p in steps])
    assert_allclose(days, each.sum())
    assert_allclose(days * log_sd, np.hypot(*(each * [p.log_sd for p in steps])))
    assert log_sd < max(p.log_sd for p in steps)


def test_one_step_keeps_its_own_prior():
    prior = load_species()[ELM].prior("work", "budbreak")
    assert_allclose(
        prior_of_transition(load_species()[ELM], Transition("work", "budbreak")),
        (prior.days, prior.log_sd),
    )


def share(weights, kinds):
    return sum(w for w, clock in zip(weights, CLOCKS, strict=True) if clock.kind in kinds or clock in kinds)


@pytest.mark.parametrize("start", ["budbreak", "extended", "work"])
def test_hardening_leans_on_heat_early_and_on_light_and_date_late(start):
    wait = Transition(start, "hardened")
    early, middle, late = (wait.clock_weights_at(d) for d in (-40, SHORTENED_DAYS / 2, 90))
    for weights in (early, middle, late):
        assert_allclose(sum(weights), 1)
    heat = [share(w, HEAT_CLOCKS) for w in (early, middle, late)]
    keeps_date = [share(w, ("light", "date")) for w in (early, middle, late)]
    assert heat[0] > 0.6 > heat[1] > heat[2]
    assert keeps_date[0] < keeps_date[1] < keeps_date[2]


@pytest.mark.parametrize("wait", [Transition("start", "budbreak"), Transition("budbreak", "extended")])
def test_leaf_growth_is_believed_to_follow_heat_at_any_time(wait):
    assert wait.clock_weights_at(-40) == wait.clock_weights_at(90) == wait.clock_weights
    assert share(wait.clock_weights, ("light",)) == 0


@pytest.mark.parametrize("past_longest", [-326, 39 + 365])
def test_a_season_that_starts_after_the_longest_day_leans_by_the_same_light(past_longest):
    wait = Transition("extended", "hardened")
    assert_allclose(wait.clock_weights_at(past_longest), wait.clock_weights_at(39), atol=0.01)
