"""Requirements against brute-force quadrature on tiny gardens, and the laws they must obey."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.special import gammaincinv, ndtr

from phenology.heat.clocks import CLOCKS, DATE_CLOCK, DAYS_CLOCK, HEAT_CLOCKS, Clock, clock_weights
from phenology.learning.effect_columns import CALENDAR_COMMON_SD, COMMON_SD, SETTINGS, YIELDS, Columns
from phenology.learning.prediction import Prediction
from phenology.learning.requirement import MEAN_STRETCH, MOST_KEPT, SEASON_TAIL, RequirementModel
from phenology.learning.waits import LEAST_WAIT, Wait, tabulate
from phenology.model.errors import InputError
from phenology.model.season import NEVER
from tests.phenology.worlds import a_wait, fit, hands_for, simulated_waits

THREE = (Clock("heat above 5", "sine", 5.0), Clock("falling", "falling", 4.0), DAYS_CLOCK)
PRIOR = (30.0, 0.3)


@dataclass(frozen=True)
class Exact:
    shares: np.ndarray
    mean: np.ndarray
    sd: np.ndarray


def exact(waits: list[Wait], clocks=THREE) -> Exact:
    """Species mean by quadrature, every interval by its exact probability, season tails by 60 scales.

    For waits of one tree that all begin on one day: then the species' mean (common, species and tree
    together) is the only effect they share, and a season's own effects add to its wait's variance.
    """
    table = tabulate(waits, hands_for(waits, clocks), clocks, Columns.of(waits).centre)
    scale = (SEASON_TAIL / 2) / gammaincinv(SEASON_TAIL / 2, (np.arange(60) + 0.5) / 60)
    log_weight, mean, variance = (np.zeros((len(clocks), len(SETTINGS))) for _ in range(3))
    for k, s in enumerate(SETTINGS):
        for c, clock in enumerate(clocks):
            common = CALENDAR_COMMON_SD if clock.by_calendar else COMMON_SD
            own = PRIOR[1] if table.censored.all() else np.hypot(PRIOR[1], YIELDS)
            prior_sd = np.sqrt(common**2 + own**2 + s.tree**2)
            x = np.log(PRIOR[0]) + prior_sd * np.linspace(-5, 5, 201)
            density = np.exp(-0.5 * ((x - np.log(PRIOR[0])) / prior_sd) ** 2)
            density /= density.sum()
            for i in range(len(waits)):
                sd = np.sqrt(s.noise**2 + table.noise[c, i] + (s.season**2 + s.cell**2) * scale)
                _, begun, after, by = table.ends[c, i]  # every wait here begins at a known moment
                lower, upper = np.log(max(after - begun, LEAST_WAIT)), np.log(by - begun)
                ended = ndtr((upper - x[:, None]) / sd) - ndtr((lower - x[:, None]) / sd)
                density *= ended.mean(1)
            mass = density.sum()
            log_weight[c, k] = np.log(mass) + s.log_prior
            mean[c, k] = density @ x / mass
            variance[c, k] = density @ (x - mean[c, k]) ** 2 / mass + s.noise**2
            variance[c, k] += (s.season**2 + s.cell**2) * MEAN_STRETCH
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    own = weight / weight.sum(1, keepdims=True)
    middle = (own * mean).sum(1)
    return Exact(weight.sum(1), middle, np.sqrt((own * (variance + (mean - middle[:, None]) ** 2)).sum(1)))


def by_clock(prediction: Prediction, clocks=THREE):
    """Weight, mean and sd of the draws of each clock."""
    out = []
    for c in range(len(clocks)):
        mine = prediction.clock == c
        w = prediction.weight[mine]
        mean = w @ prediction.mean[mine] / w.sum()
        spread = prediction.variance[mine] + (prediction.mean[mine] - mean) ** 2
        out.append((w.sum(), mean, np.sqrt(w @ spread / w.sum())))
    return np.array(out).T


def late(*days: float, width: float = 6.0) -> list[Wait]:
    """One wait a season, ending about day 148 and so many days later."""
    return [a_wait(2000 + i, 145 + d, 145 + d + width) for i, d in enumerate(days)]


TINY = {
    "no waits": [],
    "two": late(0, 7),
    "three": late(5, -2, 12, width=4),
    "four": late(0, 3, -4, 6),
    "one not yet": [*late(0, 3, 8), a_wait(2006, 160, NEVER)],
    "one already": [a_wait(2004, 120, 138), *late(0, 4)],
    "three bounds": [
        *late(0, 3, 1, -2),
        a_wait(2005, 120, 138),
        a_wait(2006, 120, 140),
        a_wait(2008, 175, NEVER),
    ],
    "four not yet": [
        *late(0, 3, 1, -2, 4),
        *(a_wait(s, d, NEVER) for s, d in ((2005, 175), (2006, 178), (2007, 172), (2008, 175))),
    ],
}


@pytest.mark.parametrize("waits", TINY.values(), ids=TINY)
def test_a_new_season_is_predicted_as_by_quadrature(waits):
    wanted = exact(waits)
    requirement = fit(waits, PRIOR, THREE)
    _, mean, sd = by_clock(requirement.predict("A", "t1", 2011, False, 120.0))
    assert_allclose(requirement.clock_shares, wanted.shares, atol=0.045)
    assert_allclose(mean, wanted.mean, atol=0.025)  # 2.5 % of the wait: under a day in thirty
    assert_allclose(sd, wanted.sd, rtol=0.13)


def test_a_catalogue_wrong_of_all_species_is_not_taken_for_an_odd_season():
    """One season of four species whose waits are three times what the catalogue says."""
    heat = THREE[:1]
    waits = [a_wait(2003, 177, 183, tree=f"{s}{k}", species=s) for s in "ABCDEFGH" for k in range(3)]
    read = tabulate(waits, hands_for(waits, heat), heat).middle[0, 0]
    found = fit(waits, (np.exp(read) / 3, 0.4), heat).predict("A", "A0", 2011, False, 120.0)
    assert_allclose(found.weight @ found.mean, read, atol=0.1)


@pytest.mark.parametrize("every", [14, 21, 30])
def test_looks_far_apart_make_no_wait_long(every):
    """Waits of 12 days, looked at on days of every phase: with both ends between two looks, most of them."""
    waits = []
    for k in range(every):
        began = 120.3 + k
        looks = [(every * math.floor(t / every), every * math.ceil(t / every)) for t in (began, began + 12)]
        waits.append(a_wait(1996 + k % 10, *looks[1], anchor=looks[0], tree=f"t{k % 3}"))
    prediction = fit(waits, (20.0, 0.5), (DAYS_CLOCK,)).predict("A", "", 2011, False, 130.0)
    assert_allclose(np.exp(prediction.weight @ prediction.mean), 12, rtol=0.06)


def test_an_odd_season_keeps_the_clocks_in_their_place():
    # season effects are settled by a variational step here, so the tolerance on the mean is wider
    waits = late(0, 1, -1, 25)
    wanted, requirement = exact(waits), fit(waits, PRIOR, THREE)
    _, mean, sd = by_clock(requirement.predict("A", "t1", 2011, False, 120.0))
    assert_allclose(requirement.clock_shares, wanted.shares, atol=0.045)
    assert_allclose(mean, wanted.mean, atol=0.08)
    assert_allclose(sd, wanted.sd, rtol=0.2)


def test_with_no_waits_the_prediction_is_the_prior_on_every_clock():
    requirement = fit([], PRIOR)
    prediction = requirement.predict("A", "t1", 2011, False, 120.0)
    assert_allclose(requirement.clock_shares, requirement.model.clock_weights)
    assert {CLOCKS[c].name for c in prediction.clock} >= {c.name for c in HEAT_CLOCKS}
    assert_allclose(prediction.mean, np.log(30.0))
    # the grid's own mean variance, a new tree and season and the prior of the species
    share = np.exp([s.log_prior for s in SETTINGS])
    spread = [s.noise**2 + s.tree**2 + (s.season**2 + s.cell**2) * MEAN_STRETCH for s in SETTINGS]
    heat = prediction.clock < len(HEAT_CLOCKS)
    got = np.average(prediction.variance[heat], weights=prediction.weight[heat])
    assert_allclose(got, share @ spread + COMMON_SD**2 + 0.3**2, rtol=0.012)


@pytest.mark.parametrize("waits", [late(0, 3, -4), late(0, 3, -4, 6, 1, 2, -3, 5)])
def test_the_draws_kept_carry_every_clocks_weight(waits):
    requirement = fit(waits)
    prediction = requirement.predict("A", "t1", 2011, False, 120.0)
    kept = np.bincount(prediction.clock, prediction.weight, len(CLOCKS))
    assert_allclose(prediction.weight.sum(), 1)
    assert_allclose(kept, requirement.clock_shares, atol=1 / MOST_KEPT)


@pytest.mark.parametrize("base", [0.0, 5.0, 10.0])
def test_a_garden_that_follows_heat_is_read_on_heat_clocks_near_its_base(base):
    truth = Clock("truth", "sine", base)
    waits = simulated_waits(truth, range(1996, 2016), trees=6, anchors=(90, 140), seed=1)
    shares = fit(waits, PRIOR).clock_shares
    assert shares[[c.by_calendar for c in CLOCKS]].sum() < 0.02
    assert abs(sum(share * clock.base for share, clock in zip(shares, CLOCKS, strict=True)) - base) < 2


def test_a_garden_that_follows_the_calendar_is_read_on_plain_days():
    waits = simulated_waits(DAYS_CLOCK, range(1996, 2016), trees=6, anchors=(90, 140), seed=1)
    assert fit(waits, PRIOR).clock_shares[CLOCKS.index(DAYS_CLOCK)] > 0.95


@pytest.mark.parametrize("temper", [0.0, 0.1, 0.5])
def test_tempered_evidence_moves_the_clocks_less_and_their_settings_as_much(temper):
    waits = late(0, 3, 8, -2)
    whole, part = fit(waits, PRIOR, THREE), fit(waits, PRIOR, THREE, temper=temper)
    wanted = whole.clock_shares**temper * whole.model.clock_weights ** (1 - temper)
    assert_allclose(part.clock_shares, wanted / wanted.sum(), rtol=1e-6)
    mean = [by_clock(r.predict("A", "t1", 2011, False, 120.0))[1] for r in (whole, part)]
    assert_allclose(mean[0], mean[1], atol=0.01)


def test_a_season_counts_once_in_the_choice_of_clock_however_many_trees_were_seen():
    lone = late(0, 3, 8, -2)
    crowd = [a_wait(w.season, *w.target, tree=f"t{k}") for w in lone for k in range(4)]
    for waits, temper in ((lone, 1.0), (crowd, 0.25)):
        by_default = RequirementModel(lambda species: PRIOR, THREE).fit(waits, hands_for(waits, THREE))
        assert_allclose(by_default.clock_shares, fit(waits, PRIOR, THREE, temper=temper).clock_shares)


def test_a_stage_that_keeps_its_date_is_read_on_the_date():
    rng = np.random.default_rng(8)
    waits = []
    for season in range(1997, 2015):
        ends = 200 + 4 * rng.normal()
        for k in range(3):
            began, came = float(rng.integers(100, 160)), ends + 3 * rng.normal()
            waits.append(a_wait(season, came - 2.5, came + 2.5, anchor=(began, began), tree=f"t{k}"))
    requirement = fit(waits, (70.0, 0.4))
    assert requirement.clock_shares[CLOCKS.index(DATE_CLOCK)] > 0.95
    early, late_ = (requirement.predict("A", "t1", 2015, False, at) for at in (105.0, 155.0))
    assert early.usual == pytest.approx(np.mean([w.anchor_middle for w in waits]))
    ends = [p.usual + np.exp(p.mean[np.argmax(p.weight)]) for p in (early, late_)]
    assert_allclose(ends, 200, atol=4)


def test_without_any_usual_beginning_no_draw_counts_from_it():
    prediction = fit([], PRIOR).predict("A", "t1", 2015, False, 120.0)
    assert CLOCKS.index(DATE_CLOCK) not in prediction.clock
    assert_allclose(prediction.weight.sum(), 1)


def middle(waits, clocks=(DAYS_CLOCK,), species="A", tree="new", season=2011):
    prediction = fit(waits, PRIOR, clocks).predict(species, tree, season, False, 120.0)
    return float(prediction.weight @ prediction.mean)


def test_a_season_that_is_late_throughout_moves_the_mean_less_than_averaging_would():
    usual = [
        a_wait(2000 + i, 145 + d + k, 149 + d + k, tree=f"t{k}")
        for i, d in enumerate([0, 1, -1, 2, -2, 0, 1, -1])
        for k in range(3)
    ]
    late_year = [a_wait(2009, 157 + k, 161 + k, tree=f"t{k}") for k in range(3)]
    moved = middle([*usual, *late_year]) - middle(usual)
    plain = np.mean([np.log((39 + k) / (27 + k)) for k in range(3)]) / 9  # one season mean of nine
    assert 0 < moved < 0.5 * plain


@pytest.mark.parametrize(
    "extra, sign", [(a_wait(2006, 165, NEVER), 1), (a_wait(2006, 120, 135), -1)], ids=["not yet", "already"]
)
def test_a_bound_moves_the_requirement_its_way(extra, sign):
    base = late(0, 4, -3)
    assert sign * (middle([*base, extra]) - middle(base)) > 0.01


def test_a_bound_that_was_expected_says_next_to_nothing():
    base = late(0, 4, -3)
    assert abs(middle([*base, a_wait(2006, 125, NEVER)]) - middle(base)) < 0.01


def test_the_prior_gives_way_as_seasons_come():
    shares = [fit(late(*range(n)), PRIOR).prior_share("A") for n in (0, 1, 3, 8)]
    assert shares[0] == 1
    assert shares == sorted(shares, reverse=True)
    assert shares[-1] < 0.15
    assert fit(late(0, 1), PRIOR).prior_share("C") == 1


def test_a_garden_by_the_calendar_leaves_its_prior_behind_too():
    waits = simulated_waits(DAYS_CLOCK, range(2000, 2002), trees=2, anchors=(100, 140), seed=3)
    requirement = fit(waits, PRIOR, (DAYS_CLOCK,))
    # a clock of the calendar begins with a wider prior, and the share is of that
    row = np.zeros(requirement.columns.shared)
    row[[0, requirement.columns.shared - 5]] = 1  # before two seasons and their two cells: the species
    left = np.mean(requirement.parts.effects.variance_at(row))
    got = requirement.prior_share("A")
    assert got == pytest.approx(left / (CALENDAR_COMMON_SD**2 + PRIOR[1] ** 2), rel=0.1)


def spread(prediction: Prediction) -> float:
    mean = prediction.weight @ prediction.mean
    return float(np.sqrt(prediction.weight @ (prediction.variance + (prediction.mean - mean) ** 2)))


def test_a_new_season_is_less_certain_than_one_with_looks():
    trees = [a_wait(s, 145 + s % 5, 149 + s % 5, tree=f"t{k}") for s in range(2000, 2006) for k in range(3)]
    requirement = fit(trees, PRIOR, (DAYS_CLOCK,))
    seen = spread(requirement.predict("A", "other", 2005, False, 120.0))
    new = spread(requirement.predict("A", "other", 2011, False, 120.0))
    assert seen < 0.9 * new


def test_neighbours_of_this_season_move_a_tree_of_it():
    trees = [a_wait(s, 145, 149, tree=f"t{k}") for s in range(2000, 2006) for k in range(3)]
    behind = [a_wait(2011, 155, 159, tree=f"t{k}") for k in range(1, 3)]
    requirement = fit([*trees, *behind], PRIOR, (DAYS_CLOCK,))
    here = requirement.predict("A", "t0", 2011, False, 120.0)
    elsewhere = requirement.predict("A", "t0", 2012, False, 120.0)
    assert here.weight @ here.mean > elsewhere.weight @ elsewhere.mean + 0.05


def test_a_slow_tree_is_known_as_slow_and_a_strange_one_as_any():
    trees = [a_wait(s, 145 + 4 * k, 149 + 4 * k, tree=f"t{k}") for s in range(2000, 2008) for k in range(3)]
    quick, slow, strange = (middle(trees, tree=name) for name in ("t0", "t2", "strange"))
    assert quick < strange < slow
    requirement = fit(trees, PRIOR, (DAYS_CLOCK,))
    known, unknown = (requirement.predict("A", t, 2011, False, 120.0) for t in ("t1", "strange"))
    assert spread(known) < spread(unknown)


def test_species_share_what_the_garden_has_in_common():
    waits = [
        a_wait(s, 155, 159, species=name, tree=name) for s in range(2000, 2006) for name in ("A", "B", "C")
    ]
    assert middle(waits, species="D") > np.log(PRIOR[0]) + 0.05  # all three need more than the catalogue says
    assert middle(waits, species="D") < middle(waits, species="A")


def test_waits_that_begin_late_and_run_short_teach_the_slope():
    waits = [a_wait(2000 + i, 150 + d, 154 + d, anchor=(115 + 2.0 * d,) * 2) for i, d in enumerate(range(10))]
    requirement = fit(waits, PRIOR, (DAYS_CLOCK,))
    early, late_ = (requirement.predict("A", "t1", 2012, False, at) for at in (115.0, 130.0))
    assert late_.weight @ late_.mean < early.weight @ early.mean - 0.1


def test_weights_of_clocks_can_be_given():
    model = RequirementModel(lambda species: PRIOR, THREE, (1, 1, 8))
    assert_allclose(model.fit([], {}).clock_shares, [0.1, 0.1, 0.8])
    with pytest.raises(InputError, match="one weight for each of the 3 clocks, not 2"):
        RequirementModel(lambda species: PRIOR, THREE, (1, 1))


def test_the_order_of_the_records_does_not_matter():
    waits = simulated_waits(DAYS_CLOCK, range(2000, 2005), seed=4)
    one, other = (fit(w, PRIOR, THREE).predict("A", "t1", 2011, False, 110.0) for w in (waits, waits[::-1]))
    assert_allclose(one.weight @ one.mean, other.weight @ other.mean, rtol=1e-6)


def test_where_only_the_date_is_left_an_unknown_species_counts_from_when_its_wait_begins():
    model = RequirementModel(lambda species: (24.0, 0.3), clock_weights=clock_weights(0, 0, 1.0))
    told = model.fit([], {}).predict("unheard of", "x", 2015, False, 130.0)
    assert told.usual == 130.0
    assert told.weight.sum() == pytest.approx(1)
