"""Growers whose truth is known, forecast by the real code: a small version of docs/simulated-growers.md.

`python -m tests.benchmarks.simulated_growers` runs the whole. Tolerances are those of so few gardens: about
90 forecasts of six gardens, whose forecasts are not independent of each other.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from phenology.learning.calibration import average_requirement
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition
from tests.simulated.climates import CLIMATES
from tests.simulated.growers import simulate
from tests.simulated.observers import OBSERVERS
from tests.simulated.study import crps, forecasts, recovery, summarise
from tests.simulated.truth import HARDENS_BY

pytestmark = pytest.mark.slow

ONLY_WORK = next(o for o in OBSERVERS if o.only_work)
LOOKERS = [o for o in OBSERVERS if not o.only_work]


@cache
def study():
    """Six gardens, one a climate, each kept in another way; four seasons."""
    rows, learned = [], []
    for k, (climate, observer) in enumerate(zip(CLIMATES, LOOKERS, strict=True)):
        sim = simulate(climate, observer, 40 + k, seasons=4)
        rows += forecasts(sim, k)
        learned += recovery(sim)
    return rows, learned


def test_ranges_hold_the_truth_about_as_often_as_they_say():
    rows, _ = study()
    summary = summarise(rows)
    assert summary.n > 70
    assert 0.35 <= summary.inside50 <= 0.65
    assert 0.68 <= summary.inside80 <= 0.92


PAGE = Path(__file__).resolve().parents[2] / "docs" / "simulated-growers.md"


@pytest.mark.parametrize(("name", "flush"), [("first", 1), ("second", 2)])
def test_the_small_table_of_the_page_is_what_comes_out(name, flush):
    (line,) = [
        text for text in PAGE.read_text(encoding="utf-8").splitlines() if text.startswith(f"| {name} |")
    ]
    told = [float(cell) for cell in line.strip("| ").split(" | ")[1:]]
    s = summarise([r for r in study()[0] if r.flush == flush and r.seasons >= 1])
    assert told[0] == s.n
    assert told[1:3] == pytest.approx([s.inside50, s.inside80], abs=0.035)  # one forecast more or less
    assert told[3:] == pytest.approx([s.crps, s.usual, s.usual_days], abs=0.1)


@pytest.mark.parametrize("flush", [1, 2])
def test_forecasts_beat_the_usual_date_once_there_is_one(flush):
    rows = [r for r in study()[0] if r.flush == flush and r.seasons >= 1]
    summary = summarise(rows)
    assert summary.crps < summary.usual
    assert abs(summary.bias) < 5


def test_own_seasons_sharpen_the_guess():
    rows, _ = study()
    guess, known = (
        crps([r.quantiles for r in some], [r.truth for r in some]).mean()
        for some in ([r for r in rows if r.seasons == 0], [r for r in rows if r.seasons >= 2])
    )
    assert known < guess


def test_what_the_steps_take_is_recovered():
    _, learned = study()
    heat = [r for r in learned if r.hardens_by == "heat" or r.step != "extended_hardened"]
    ours = np.array([np.log(r.middle / r.truth) for r in heat])
    catalogue = np.array([np.log(r.prior / r.truth) for r in heat])
    assert np.sqrt(np.mean(ours**2)) < 0.8 * np.sqrt(np.mean(catalogue**2))
    assert abs(ours.mean()) < 0.15
    assert np.mean([r.low <= r.truth <= r.high for r in heat]) >= 0.6


def test_a_weekend_habit_in_work_dates_is_not_mistaken_for_biology():
    """Two growers of the same trees who write down only work: one works when it suits, one at weekends."""
    step, off, clocks = Transition("start", "hardened"), [], []
    for seed in (3, 4, 5, 6):
        fits = [
            GardenFit(simulate(CLIMATES[3], replace(ONLY_WORK, weekends=w), seed, trees=1).garden)
            for w in (False, True)
        ]
        species = fits[0].garden.trees[0].species
        free, weekend = (average_requirement(fit.requirement(step), species)[0] for fit in fits)
        off.append(weekend / free - 1)
        shares = [fit.requirement(step).clock_shares for fit in fits]
        clocks.append(float(np.abs(shares[0] - shares[1]).sum()) / 2)
    assert abs(np.mean(off)) < 0.05  # two or three days later in sixty, as the work itself is
    assert max(np.abs(off)) < 0.10
    assert max(clocks) < 0.15  # nor does it say that trees keep a calendar


def test_a_garden_is_the_same_for_the_same_seed_and_differs_for_another():
    one, again, other = (simulate(CLIMATES[1], OBSERVERS[1], s, seasons=2) for s in (5, 5, 6))
    assert one.garden.looks == again.garden.looks and one.garden.works == again.garden.works
    assert one.garden.looks != other.garden.looks


@pytest.mark.parametrize("observer", OBSERVERS, ids=lambda o: o.name)
def test_every_grower_keeps_records_of_their_own_kind(observer):
    sim = simulate(CLIMATES[3], observer, 3, seasons=3)
    looks, works = sim.garden.looks, sim.garden.works
    assert works and all(w.latest.weekday() >= 5 for w in works)
    assert bool(looks) != observer.only_work
    assert all((v.latest - v.earliest).days == 2 * observer.vague for v in looks)
    assert sim.nature.hardens_by in HARDENS_BY
    for event in sim.events:
        came = list(event.truth.came.values())
        assert came == sorted(came) and came[0] > event.truth.began
