"""The odds of ripening, held against trees simulated one by one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phenology.forecasting.propagation import Step
from phenology.forecasting.ripening import Ripening, ripening
from phenology.heat.clocks import CLOCKS, DATE_CLOCK, Clock, ThermalTime, clock_weights
from phenology.learning.prediction import Prediction, by_duration
from phenology.learning.requirement import Requirement, RequirementModel
from phenology.learning.transitions import Transition
from phenology.weather.traces import draw_traces
from tests.phenology.worlds import fit, record, simulated_waits

HEAT = Clock("heat above 5", "sine", 5.0)
CHAIN = (
    Transition("work", "budbreak"),
    Transition("budbreak", "extended"),
    Transition("extended", "hardened"),
)


def guesses() -> list[Requirement]:
    """Three waits nobody has seen: only the catalogue's prior."""
    return [RequirementModel(lambda s, d=days: (d, 0.25)).fit([], {}) for days in (24.0, 24.0, 20.0)]


def predicted(requirement: Requirement, began: float) -> Prediction:
    return by_duration(requirement.predict("A", "", 2015, True, began, lean=False), CLOCKS)


def steps_of(requirements) -> list[Step]:
    return [Step(t, lambda began, r=r: predicted(r, began)) for t, r in zip(CHAIN, requirements, strict=True)]


@pytest.fixture(scope="module")
def thermal_time() -> ThermalTime:
    return draw_traces(record(), 2015, 100).thermal_time()


def simulated(requirements, thermal_time, day: float, deadline, ends, n: int = 6000):
    """Trees simulated one by one, each wait drawn and walked on its trace: share ripe, share woken."""
    rng, days = np.random.default_rng(5), np.arange(thermal_time.days + 1)
    ripe = woken = 0
    waits = [predicted(r, 0.0) for r in requirements]
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
    deadline = 285.0 + np.arange(len(thermal_time.sums)) % 7
    days = np.array([185.0, 199, 220, 248, 275])
    ours = ripening(steps_of(guesses()), thermal_time, days, deadline, deadline + 21)
    for day in days:
        ripe, woken = simulated(guesses(), thermal_time, day, deadline, deadline + 21)
        assert ours.odds(day) == pytest.approx(ripe, abs=0.02)
        assert np.interp(day, ours.days, ours.wakes) == pytest.approx(woken, abs=0.04)


def test_a_coarse_grid_finds_the_day_that_every_day_finds(thermal_time):
    few = ThermalTime(thermal_time.sums[::3])
    deadline = np.full(len(few.sums), 290.0)
    steps = steps_of(guesses())
    coarse = ripening(steps, few, np.arange(90.0, 330.0, 14), deadline, deadline)
    fine = ripening(steps, few, np.arange(180.0, 280.0, 2), deadline, deadline)
    for odds in (0.8, 0.9, 0.95):
        assert coarse.last_day(odds) == pytest.approx(fine.last_day(odds), abs=1.5)
    assert 200 < (first := next(day for day in range(180, 280) if fine.only_rests(day))) < 279
    assert not coarse.only_rests(first - 3) and coarse.only_rests(first + 3)


def test_waiting_never_helps(thermal_time):
    deadline = np.full(len(thermal_time.sums), 290.0)
    curve = ripening(steps_of(guesses()), thermal_time, np.arange(120.0, 320.0, 7), deadline, deadline)
    assert (np.diff(curve.ripens) <= 0.01).all() and (np.diff(curve.wakes) <= 0.01).all()
    assert (curve.ripens <= curve.wakes + 0.01).all()


def test_without_a_deadline_every_cut_ripens(thermal_time):
    never = np.full(len(thermal_time.sums), np.inf)
    curve = ripening(steps_of(guesses()), thermal_time, np.array([150.0, 300.0]), never, never)
    assert curve.ripens.tolist() == [1.0, 1.0] and curve.last_day(0.9) == 300.0


def test_a_date_gives_a_late_cut_no_help(thermal_time):
    """Every wait runs on the date clock and usually begins on day 150; a cut on day 200 takes as long."""
    one, at = np.ones(1), np.array([CLOCKS.index(DATE_CLOCK)])
    sure = [
        by_duration(Prediction(one, at, one * np.log(20.0), one * 1e-6, 150.0 + 20 * k), CLOCKS)
        for k in range(3)
    ]
    steps = [Step(t, lambda began, p=p: p) for t, p in zip(CHAIN, sure, strict=True)]
    for by, odds in ((258.0, 0.0), (262.0, 1.0)):
        deadline = np.full(len(thermal_time.sums), by)
        late = ripening(steps, thermal_time, np.array([200.0]), deadline, deadline)
        assert late.odds(200.0) == pytest.approx(odds, abs=1e-3)


def test_short_days_give_a_late_cut_no_help():
    """Though hardening may be learned to hurry as days shorten, odds of ripening leave those clocks out."""
    wait = Transition("extended", "hardened")
    learned = RequirementModel(lambda species: (24.0, 0.3), clock_weights=wait.clock_weights).fit([], {})
    assert any(CLOCKS[c].by_light for c in learned.parts.clock)
    assert not any(CLOCKS[c].by_light for c in predicted(learned, 200.0).clock)


def test_where_only_short_days_explain_the_records_a_cut_counts_in_long_days():
    model = RequirementModel(lambda species: (24.0, 0.3), clock_weights=clock_weights(0, 0, 0, light=1.0))
    found = predicted(model.fit([], {}), 200.0)
    assert [CLOCKS[c].kind for c in found.clock] == ["days"]
    assert found.mean == pytest.approx([np.log(24.0) + 0.4])
    assert found.weight == pytest.approx([1.0])


def test_own_records_move_the_odds(thermal_time):
    """Trees that take half as long again as the guess lose their late window."""
    slow = fit(simulated_waits(HEAT, range(2000, 2012), need=36.0), prior=(24.0, 0.3))
    guess = guesses()
    deadline = np.full(len(thermal_time.sums), 290.0)
    days = np.arange(120.0, 300.0, 14)
    a, b = (
        ripening(steps_of(chain), thermal_time, days, deadline, deadline)
        for chain in ([slow, *guess[1:]], guess)
    )
    assert a.odds(200) < b.odds(200) - 0.05


def test_a_late_beginning_counts_only_within_reason():
    slow = fit(simulated_waits(HEAT, range(2000, 2012), need=30.0), prior=(24.0, 0.3))
    columns = replace(slow.columns, centre={("A", True): 110.0})
    assert [columns.lateness("A", True, day) for day in (110.0, 130.0, 900.0)] == [0.0, 2.0, 8.0]
    assert columns.lateness("B", True, 300.0) == 0.0


def test_a_day_is_read_between_the_days_tried():
    curve = known([0.99, 0.9, 0.1], [1.0, 0.5, 0.01])
    assert curve.last_day(0.9) == pytest.approx(110.0, abs=0.1)
    assert curve.last_day(0.995) is None
    assert curve.last_day(0.05) == 120.0
    assert curve.odds(110) == pytest.approx(0.9, abs=1e-3)
    assert not curve.only_rests(110) and curve.only_rests(120)


def known(ripens: list[float], wakes: list[float]) -> Ripening:
    """Cuts on days 100, 110 and 120, with given odds."""
    odds = np.array([ripens, wakes])
    return Ripening(np.array([100.0, 110, 120]), lambda some: odds[0, some], lambda some: odds[1, some])


@pytest.mark.parametrize("asked_first", [[], [100.0, 130.0], [300.0, 310.0], [200.0]])
def test_the_last_day_is_found_without_working_out_every_day(asked_first):
    days, tried = np.arange(100.0, 320.0, 10), []
    falls = 1 / (1 + np.exp((days - 223) / 12))

    def work_out(some):
        tried.extend(some)
        return falls[some]

    curve = Ripening(days, work_out, work_out)
    curve.work_out(asked_first)
    every_day = Ripening(days, lambda some: falls[some], lambda some: falls[some])
    assert len(every_day.ripens) == len(days)
    for required in (0.9, 0.5, 0.02):
        assert curve.last_day(required) == every_day.last_day(required)
    assert curve.odds(214.0) == every_day.odds(214.0)
    assert len(tried) == len(set(tried)) < len(days) - 5
