"""A new member's first season with what five others share: the table of docs/simulated-growers.md.

python -m tests.benchmarks.simulated_clubs [CLUBS]
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from itertools import product

import numpy as np

from tests.simulated.climates import CLIMATES
from tests.simulated.clubs import club, first_season
from tests.simulated.study import Forecasted, crps, summarise

KINDS = ("the same climate", "five other climates", "the least alike climate")


def one(job: tuple[str, int]) -> tuple[str, tuple[list[Forecasted], list[Forecasted]]]:
    kind, seed = job
    here = CLIMATES[seed % len(CLIMATES)]
    others = {
        "the same climate": [here] * 5,
        "five other climates": [c for c in CLIMATES if c is not here],
        "the least alike climate": [CLIMATES[0] if here.mean > 12 else CLIMATES[4]] * 5,
    }[kind]
    members = club(here, others, seed, far=0.0 if kind == KINDS[0] else 1.0)
    return kind, first_season(members, seed)


def main(clubs: int) -> None:
    print("| the five grow in | forecasts | catalogue | club | 80 %, catalogue | 80 %, club | gain | error |")
    print("|---|---|---|---|---|---|---|---|")
    with ProcessPoolExecutor(2) as pool:
        found = list(pool.map(one, product(KINDS, range(clubs))))
    for kind in KINDS:
        pairs = [rows for name, rows in found if name == kind and rows[0]]
        alone, told = ([row for pair in pairs for row in pair[k]] for k in (0, 1))
        gains = np.array([crps_of(a) - crps_of(b) for a, b in pairs])
        print(
            f"| {kind} | {len(alone)} | {crps_of(alone):.1f} | {crps_of(told):.1f} | "
            f"{summarise(alone).inside80:.2f} | {summarise(told).inside80:.2f} | "
            f"{gains.mean():+.1f} | {gains.std() / np.sqrt(len(gains)):.1f} |"
        )


def crps_of(rows: list[Forecasted]) -> float:
    return float(crps([r.quantiles for r in rows], [r.truth for r in rows]).mean())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 24)
