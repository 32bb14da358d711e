"""What leaf counts do for forecasts of `extended` in mid-flush: tables for docs/simulated-growers.md.

python -m tests.benchmarks.leaf_counts [GARDENS_EACH [FIRST_SEED]]

Run by hand. Every climate meets a careful and a sloppy counter GARDENS_EACH times (2 by default: 24 gardens,
about five minutes on two cores).
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from itertools import product

import numpy as np

from phenology.learning.garden_fit import GardenFit
from phenology.learning.garden_leaves import GardenLeaves
from tests.simulated.climates import CLIMATES
from tests.simulated.leaf_counts import CAREFUL, SLOPPY, Compared, compared, simulate
from tests.simulated.study import crps

COUNTERS = (CAREFUL, SLOPPY)
HEAD = (
    "| forecasts | CRPS without | CRPS with | gain | standard error | 80 % without | 80 % with | bias with |"
)


def one(
    job: tuple[int, int, int],
) -> tuple[list[Compared], tuple[str, float, float, float, bool, float, float]]:
    climate, counter, seed = job
    sim = simulate(CLIMATES[climate], COUNTERS[counter], seed)
    leaves = GardenLeaves(GardenFit(sim.garden))
    habit = leaves.habit(sim.species)
    assert habit is not None
    guess = math.exp(leaves._prior_phyllochron(sim.species)[0])
    middle, low, high = habit.days_a_leaf
    recovered = (
        sim.counter.name,
        math.log(middle / sim.interval),
        math.log(guess / sim.interval),
        math.log(high / low) / 2.5631,
        low <= sim.interval <= high,
        math.log(habit.leaves[0] / sim.leaves),
        seed,
    )
    return list(compared(sim, seed)), recovered


def shown(title: str, rows: list[Compared], of: Callable[[Compared], object]) -> None:
    print(f"\n| {title} {HEAD}\n|---|---|---|---|---|---|---|---|---|")
    for key in sorted({of(r) for r in rows}, key=str):
        mine = [r for r in rows if of(r) == key]
        truth = np.array([r.truth for r in mine])
        scores = [crps([getattr(r, name) for r in mine], truth) for name in ("plain", "counted")]
        inside = []
        for name in ("plain", "counted"):
            q = np.array([getattr(r, name) for r in mine])
            inside.append(float(np.mean((q[:, 0] <= truth) & (truth <= q[:, 4]))))
        gain = scores[0] - scores[1]
        seeds = np.array([r.seed for r in mine])
        by_garden = np.array([gain[seeds == s].mean() for s in np.unique(seeds)])
        error = by_garden.std(ddof=1) / math.sqrt(len(by_garden)) if len(by_garden) > 1 else math.nan
        bias = float(np.mean(np.array([r.counted[2] for r in mine]) - truth))
        print(
            f"| {key} | {len(mine)} | {scores[0].mean():.2f} | {scores[1].mean():.2f} | {gain.mean():+.2f} | "
            f"{error:.2f} | {inside[0]:.2f} | {inside[1]:.2f} | {bias:+.1f} |"
        )


def main(gardens: int = 2, first: int = 1) -> None:
    pairs = product(range(len(CLIMATES)), range(len(COUNTERS)))
    jobs = [(c, o, first + 1000 * c + 100 * o + g) for (c, o), g in product(pairs, range(gardens))]
    rows: list[Compared] = []
    recovered = []
    with ProcessPoolExecutor(2) as pool:
        for done, (some, learned) in enumerate(pool.map(one, jobs), 1):
            rows += some
            recovered.append(learned)
            print(f"\r{done} of {len(jobs)} gardens", end="", file=sys.stderr)
    print(file=sys.stderr)
    for counter in COUNTERS:
        mine = [r for r in rows if r.counter == counter.name]
        shown(f"{counter.name}; seasons of records", mine, lambda r: r.seasons)
    shown("counter", rows, lambda r: r.counter)
    shown("flush", rows, lambda r: r.flush)
    shown("climate", rows, lambda r: r.climate)
    print("\n| counter | gardens | phyllochron: error, log | catalogue's error, log | bias, log | ", end="")
    print("inside 80 % | leaves at the end: error, log |\n|---|---|---|---|---|---|---|")
    for counter in COUNTERS:
        mine = [r for r in recovered if r[0] == counter.name]
        off, guess, leaves = (np.array([r[k] for r in mine]) for k in (1, 2, 5))
        print(
            f"| {counter.name} | {len(mine)} | {np.sqrt(np.mean(off**2)):.2f} | "
            f"{np.sqrt(np.mean(guess**2)):.2f} | {off.mean():+.2f} | {np.mean([r[4] for r in mine]):.2f} | "
            f"{np.sqrt(np.mean(leaves**2)):.2f} |"
        )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
