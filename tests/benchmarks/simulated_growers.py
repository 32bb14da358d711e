"""Growers whose truth is known, forecast by the real code: tables for docs/simulated-growers.md.

python -m tests.benchmarks.simulated_growers [GARDENS_EACH [FIRST_SEED]]

Run by hand. Every climate meets every grower GARDENS_EACH times (2 by default: 84 gardens, six minutes of
processor time).
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from itertools import product

import numpy as np

from tests.simulated.climates import CLIMATES
from tests.simulated.growers import simulate
from tests.simulated.observers import OBSERVERS
from tests.simulated.study import Forecasted, Recovered, crps, forecasts, mean_by_garden, recovery, summarise

HEAD = "| forecasts | 50 % | 80 % | flushcast | usual date | usual days | gain | bias |"


def one(job: tuple[int, int, int]) -> tuple[list[Forecasted], list[Recovered], str]:
    climate, observer, seed = job
    sim = simulate(CLIMATES[climate], OBSERVERS[observer], seed)
    return list(forecasts(sim, seed)), list(recovery(sim)), OBSERVERS[observer].name


def run(gardens: int, first: int) -> tuple[list[Forecasted], list[tuple[Recovered, str]]]:
    pairs = product(range(len(CLIMATES)), range(len(OBSERVERS)))
    jobs = [(c, o, first + 1000 * c + 100 * o + g) for (c, o), g in product(pairs, range(gardens))]
    rows: list[Forecasted] = []
    recovered: list[tuple[Recovered, str]] = []
    with ProcessPoolExecutor(2) as pool:
        for done, (some, learned, who) in enumerate(pool.map(one, jobs), 1):
            rows += some
            recovered += [(r, who) for r in learned]
            print(f"\r{done} of {len(jobs)} gardens", end="", file=sys.stderr)
    print(file=sys.stderr)
    return rows, recovered


def table(title: str, rows: Iterable[Forecasted], of: Callable[[Forecasted], object]) -> None:
    """Scores by some trait; ± is one standard error, gardens as the unit; gain: over the usual date."""
    rows = list(rows)
    print(f"\n| {title} {HEAD}\n|---|---|---|---|---|---|---|---|---|")
    for key in sorted({of(r) for r in rows}, key=str):
        mine = [r for r in rows if of(r) == key]
        s, gardens = summarise(mine), [r.seed for r in mine]
        inside = [r.quantiles[0] <= r.truth <= r.quantiles[-1] for r in mine]
        bias = [r.quantiles[2] - r.truth for r in mine]
        past = [r for r in mine if np.isfinite(r.usual).all()]
        ours, usual = (
            crps([getattr(r, name) for r in past], [r.truth for r in past]) for name in ("quantiles", "usual")
        )
        held = mean_by_garden(gardens, inside)[1]
        gain, of_gain = mean_by_garden([r.seed for r in past], usual - ours)
        off, of_off = mean_by_garden(gardens, bias)
        print(
            f"| {key} | {s.n} | {s.inside50:.2f} | {s.inside80:.2f} ± {held:.2f} | {s.crps:.1f} | "
            f"{s.usual:.1f} | {s.usual_days:.1f} | {gain:+.1f} ± {of_gain:.1f} | {off:+.1f} ± {of_off:.1f} |"
        )


def recovery_table(recovered: list[tuple[Recovered, str]]) -> None:
    print("\n| step | cases | inside 80 % | error, log | catalogue's error, log | bias, log |")
    print("|---|---|---|---|---|---|")
    plain = [r for r, who in recovered if "late" not in who and "not measured" not in who]
    for step in dict.fromkeys(r.step for r in plain):
        mine = [
            r for r in plain if r.step == step and (r.hardens_by == "heat" or step != "extended_hardened")
        ]
        off = np.array([np.log(r.middle / r.truth) for r in mine])
        guess = np.array([np.log(r.prior / r.truth) for r in mine])
        inside = np.mean([r.low <= r.truth <= r.high for r in mine])
        print(
            f"| {step} | {len(mine)} | {inside:.2f} | {np.sqrt(np.mean(off**2)):.2f} | "
            f"{np.sqrt(np.mean(guess**2)):.2f} | {off.mean():+.2f} |"
        )


def main(gardens: int = 2, first: int = 1) -> None:
    rows, recovered = run(gardens, first)
    table("seasons of records", rows, lambda r: r.seasons)
    known = [r for r in rows if r.seasons >= 2]
    print("\nFrom two seasons of records on:")
    table("flush", known, lambda r: r.flush)
    table("climate", known, lambda r: r.climate)
    table("grower", known, lambda r: r.observer)
    table("what hardening follows", known, lambda r: r.hardens_by)
    table("shoots", known, lambda r: "stop" if r.stops else "never stop")
    recovery_table(recovered)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
