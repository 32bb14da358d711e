"""The odds of ripening, held against trees simulated one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phenology.forecasting.beliefs import Belief, belief
from phenology.forecasting.ripening import Ripening, ripening
from phenology.heat.clocks import CLOCKS, DATE_CLOCK, DAYS_CLOCK, Clock, ThermalTime, clock_weights
from phenology.learning.requirement import Requirement, RequirementModel
from phenology.learning.transitions import Transition
from phenology.weather.traces import draw_traces
from tests.phenology.worlds import fit, record, simulated_waits

HEAT = Clock("heat above 5", "sine", 5.0)


def guesses() -> list[Requirement]:
    """Three waits nobody has seen: only the catalogue's prior."""
    return [RequirementModel(lambda s, d=days: (d, 0.25)).fit([], {}) for days in (24.0, 24.0, 20.0)]


@pytest.fixture(scope="module")
def thermal_time() -> ThermalTime:
    return draw_traces(record(), 2015, 100).thermal_time()


def simulated(requirements, thermal_time, day: float, deadline, ends, n: int = 6000):
    """Trees simulated one by one, each wait drawn and walked on its trace: share ripe, share woken."""
    rng, days = np.random.default_rng(5), np.arange(thermal_time.days + 1)
    ripe = woken = 0
    waits = [r.predict("A", "", 2015, True, 0.0) for r in requirements]
    for _ in range(n):
        trace, t = rng.integers(len(thermal_time.sums)), day
        for k, wait in enumerate(waits):
            draw = rng.choice(len(wait.weight), p=wait.weight)
            sums = thermal_time.sums[trace, wait.clock[draw]]
            need = np.exp(wait.mean[draw] + np.sqrt(wait.variance[draw]) * rng.normal())
            wanted = np.interp(t, days, sums) + need
            if wanted > sums[-1]:
                t = np.inf
                break
            t = np.interp(wanted, sums, days)
            woken += k == 0 and t <= ends[trace]
        ripe += t <= deadline[trace]
    return ripe / n, woken / n


def test_the_odds_are_those_of_trees_simulated_one_by_one(thermal_time):
    requirements = guesses()
    steps = [belief(r, "A", 2015) for r in requirements]
    deadline = 285.0 + np.arange(len(thermal_time.sums)) % 7
    ours = ripening(steps, thermal_time, np.array([185.0, 199, 220, 248, 275]), deadline, deadline + 21)
    for day in (185.0, 199.0, 220.0, 248.0, 275.0):
        ripe, woken = simulated(requirements, thermal_time, day, deadline, deadline + 21)
        assert ours.odds(day) == pytest.approx(ripe, abs=0.02)
        assert np.interp(day, ours.days, ours.wakes) == pytest.approx(woken, abs=0.04)


def test_a_coarse_grid_finds_the_day_that_every_day_finds(thermal_time):
    steps = [belief(r, "A", 2015) for r in guesses()]
    deadline = np.full(len(thermal_time.sums), 290.0)
    coarse = ripening(steps, thermal_time, np.arange(90.0, 330.0, 14), deadline, deadline)
    fine = ripening(steps, thermal_time, np.arange(90.0, 330.0), deadline, deadline, draws=200)
    for odds in (0.8, 0.9, 0.95):
        assert coarse.last_day(odds) == pytest.approx(fine.last_day(odds), abs=1.5)
    assert coarse.rests_from() == pytest.approx(fine.rests_from(), abs=3)


def test_waiting_never_helps(thermal_time):
    steps = [belief(r, "A", 2015) for r in guesses()]
    deadline = np.full(len(thermal_time.sums), 290.0)
    curve = ripening(steps, thermal_time, np.arange(120.0, 320.0, 7), deadline, deadline)
    assert (np.diff(curve.ripens) <= 0.01).all() and (np.diff(curve.wakes) <= 0.01).all()
    assert (curve.ripens <= curve.wakes + 0.01).all()


def test_without_a_deadline_every_cut_ripens(thermal_time):
    steps = [belief(r, "A", 2015) for r in guesses()]
    never = np.full(len(thermal_time.sums), np.inf)
    curve = ripening(steps, thermal_time, np.array([150.0, 300.0]), never, never)
    assert curve.ripens.tolist() == [1.0, 1.0] and curve.last_day(0.9) == 300.0


def test_a_date_gives_a_late_cut_no_help(thermal_time):
    """Every wait runs on the date clock and usually begins on day 150; a cut on day 200 takes as long."""

    def sure(days: float, clock: Clock, usual: float) -> Belief:
        one = np.ones(1)
        at = np.array([CLOCKS.index(clock)])
        return Belief(at, one, one * np.log(days), one * 1e-6, one * 0, one * 0, usual, usual)

    dated = [sure(20.0, DATE_CLOCK, 150.0 + 20 * k) for k in range(3)]
    plain = [sure(20.0, DAYS_CLOCK, 150.0 + 20 * k) for k in range(3)]
    traces = len(thermal_time.sums)
    for by, odds in ((258.0, 0.0), (262.0, 1.0)):
        deadline = np.full(traces, by)
        late = [ripening(s, thermal_time, np.array([200.0]), deadline, deadline) for s in (dated, plain)]
        assert [curve.odds(200.0) for curve in late] == pytest.approx([odds, odds], abs=1e-3)
    deadline = np.full(traces, 195.0)
    early = [
        ripening(s, thermal_time, np.array([120.0]), deadline, deadline).odds(120.0) for s in (dated, plain)
    ]
    assert early == pytest.approx([0.0, 1.0], abs=1e-3)  # asked early, the date holds it back


def test_short_days_give_a_late_cut_no_help():
    """Though hardening may be learned to hurry as days shorten, odds of ripening leave those clocks out."""
    wait = Transition("extended", "hardened")
    model = RequirementModel(lambda species: (24.0, 0.3), clock_weights=wait.clock_weights)
    learned = model.fit([], {})
    assert any(CLOCKS[part.clock].by_light for part in learned.components)
    assert not any(CLOCKS[c].by_light for c in belief(learned, "A", 2015).clock)


def test_where_only_short_days_explain_the_records_a_cut_counts_in_long_days():
    model = RequirementModel(lambda species: (24.0, 0.3), clock_weights=clock_weights(0, 0, 0, light=1.0))
    told = belief(model.fit([], {}), "A", 2015)
    assert [CLOCKS[c].kind for c in told.clock] == ["days"]
    assert told.mean == pytest.approx([np.log(24.0) + 0.4])
    assert told.weight == pytest.approx([1.0])


def test_own_records_move_the_odds(thermal_time):
    """Trees that take half as long again as the guess lose their late window."""
    slow = fit(simulated_waits(HEAT, range(2000, 2012), need=36.0), prior=(24.0, 0.3))
    guess = guesses()
    deadline = np.full(len(thermal_time.sums), 290.0)
    days = np.arange(120.0, 300.0, 7)
    known = [belief(slow, "A", 2015), *(belief(r, "A", 2015) for r in guess[1:])]
    usual = [belief(r, "A", 2015) for r in guess]
    a, b = (ripening(s, thermal_time, days, deadline, deadline) for s in (known, usual))
    assert a.odds(200) < b.odds(200) - 0.05


def test_later_waits_follow_the_learned_slope():
    """A belief whose later waits are longer says so on the day that is asked, and only within reason."""
    slow = fit(simulated_waits(HEAT, range(2000, 2012), need=30.0), prior=(24.0, 0.3))
    found = replace(belief(slow, "A", 2015), centre=110.0)
    assert found.lateness(np.array([110.0, 130.0, 900.0])).tolist() == [0.0, 2.0, 8.0]
    assert replace(found, centre=None).lateness(np.array([300.0])).tolist() == [0.0]


@pytest.mark.parametrize("species, season", [("A", 2015), ("A", 2005), ("unheard of", 2015)])
def test_a_belief_has_the_moments_of_the_requirements_own_prediction(species, season):
    found = fit(simulated_waits(HEAT, range(2000, 2012), need=30.0), prior=(24.0, 0.3))
    ours = belief(found, species, season)
    whole = found.predict(species, "", season, True, ours.centre or 0.0)
    for k, c in enumerate(ours.clock):
        mine = whole.clock == c
        share = whole.weight[mine] / whole.weight[mine].sum()
        mean = share @ whole.mean[mine]
        assert ours.weight[k] == pytest.approx(whole.weight[mine].sum(), abs=1e-9)
        assert ours.mean[k] == pytest.approx(mean, abs=1e-9)
        spread = share @ (whole.variance[mine] + (whole.mean[mine] - mean) ** 2)
        assert ours.variance[k] == pytest.approx(spread, rel=1e-6)


def test_a_day_is_read_between_the_days_tried():
    curve = Ripening(np.array([100.0, 110, 120]), np.array([0.99, 0.9, 0.1]), np.array([1.0, 0.5, 0.01]))
    assert curve.last_day(0.9) == pytest.approx(110.0, abs=0.1)
    assert curve.last_day(0.995) is None
    assert curve.last_day(0.05) == 120.0
    assert curve.odds(110) == pytest.approx(0.9, abs=1e-3)
    assert 110 < curve.rests_from() < 120
    assert Ripening(curve.days, curve.ripens, np.ones(3)).rests_from() is None
