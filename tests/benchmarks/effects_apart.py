"""What two and eight seasons of records gain over a grower's usual days, one effect switched off at a time.

python -m tests.benchmarks.effects_apart [GARDENS_EACH]

Gardens of four trees, looked at weekly; the hardening of the last season's first flushes is forecast on the
day bud break was seen, from the two or the eight seasons before. Every line has the same gardens, but for
what it switches. Run by hand, for docs/simulated-growers.md.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from phenology.forecasting.flush_forecast import FlushForecasts
from phenology.garden import Garden
from phenology.judging.rivals import usual_days_regressed
from phenology.learning.flush_history import histories
from phenology.learning.garden_fit import GardenFit
from phenology.learning.waits import Wait
from phenology.model.stages import stage_rank
from tests.simulated.climates import CLIMATES
from tests.simulated.growers import FIRST_SEASON, LAST_LOOK, SimulatedGarden, simulate
from tests.simulated.observers import OBSERVERS
from tests.simulated.study import as_told, crps, told_wait

KNOWN = (2, 8)
WEEKLY = OBSERVERS[1]
VARIANTS: dict[str, dict[str, Any]] = {
    "as in the tables above": {},
    "trees alike": {"alter": lambda nature: replace(nature, tree=0.0)},
    "seasons alike": {"alter": lambda nature: replace(nature, season=0.0)},
    "trees, seasons and flushes alike": {
        "alter": lambda nature: replace(nature, tree=0.0, season=0.0, noise=0.0)
    },
    "benches alike": {"benches_differ": False},
    "benches differ, not measured": {"observer": replace(WEEKLY, offset_known=False)},
    "hardening called a day later each season": {"observer": replace(WEEKLY, drift=1.0)},
    "the season's weather known ahead": {},
    "the same, trees, seasons and flushes alike": {
        "alter": lambda nature: replace(nature, tree=0.0, season=0.0, noise=0.0)
    },
}
FORESEEN = list(VARIANTS)[-2:]


@dataclass(frozen=True)
class Row:
    garden: int
    known: int
    quantiles: tuple[float, ...]
    usual_days: tuple[float, ...]
    truth: float


def rows(sim: SimulatedGarden, garden: int, foreseen: bool) -> Iterator[Row]:
    calendar, last = sim.garden.calendar, FIRST_SEASON + max(KNOWN)
    for known in KNOWN:
        kept = since(sim, last - known)
        past = kept.up_to(calendar.start(last) - timedelta(days=1))
        told, fit = [as_told(h) for h in histories(past)], GardenFit(past)
        for event in (e for e in sim.events if (e.season, e.number) == (last, 1)):
            looks = [
                ((look.latest - calendar.start(last)).days + 1, look.stage)
                for look in kept.looks
                if look.flush_id == event.flush_id and stage_rank(look.stage) >= stage_rank("budbreak")
            ]
            if not looks or min(looks)[1] == "hardened":
                continue
            issued = min(looks)[0]
            now = kept.up_to(calendar.date(last, issued))
            if foreseen:
                now = replace(now, weather=kept.weather)
            h = next(h for h in histories(now) if h.flush.id == event.flush_id)
            begun = h.begun("budbreak")
            late = sim.observer.late + sim.observer.drift * max(KNOWN)
            truth = min(event.truth.came["hardened"] + late, LAST_LOOK)
            ahead = [a for a in FlushForecasts(now, fit).ahead(h, issued) if a.stage == "hardened"]
            if begun is None or not ahead or truth <= issued:
                continue
            wait = Wait(h.tree.species, h.tree.id, last, False, begun, (begun[1], LAST_LOOK))
            usual = usual_days_regressed([w for t in told if (w := told_wait(t, "budbreak"))], wait)
            if np.isfinite(usual).all():
                quantiles = np.minimum(ahead[0].arrival.quantiles(), LAST_LOOK)
                yield Row(garden, known, tuple(quantiles), tuple(np.minimum(usual, LAST_LOOK)), truth)


def since(sim: SimulatedGarden, first: int) -> Garden:
    """The garden of somebody who began to keep records in a season."""
    g, season_of = sim.garden, sim.garden.calendar.season_of
    return replace(
        g,
        flushes=[f for f in g.flushes if f.season >= first],
        looks=[k for k in g.looks if season_of(k.latest) >= first],
        works=[w for w in g.works if season_of(w.latest) >= first],
    )


def gains(some: list[Row], known: int) -> dict[int, tuple[float, float]]:
    """CRPS of the forecast and of the usual days, by garden. [d]"""
    out = {}
    for garden in sorted({r.garden for r in some}):
        mine = [r for r in some if (r.garden, r.known) == (garden, known)]
        if mine:
            truth = [r.truth for r in mine]
            ours, usual = (
                crps([getattr(r, n) for r in mine], truth).mean() for n in ("quantiles", "usual_days")
            )
            out[garden] = float(ours), float(usual)
    return out


def main(each: int = 6) -> None:
    print(
        "| what differs | 2 seasons: CRPS, usual days, gain | 8 seasons: CRPS, usual days, gain | gain lost |"
    )
    print("|---|---|---|---|")
    for name, change in VARIANTS.items():
        some: list[Row] = []
        for c, climate in enumerate(CLIMATES):
            for g in range(each):
                seed = 9000 + 50 * c + g
                options = {"observer": WEEKLY, **change}
                sim = simulate(climate, seed=seed, seasons=max(KNOWN) + 1, trees=4, **options)
                some += rows(sim, seed, name in FORESEEN)
        by = {known: gains(some, known) for known in KNOWN}
        cells = []
        for known in KNOWN:
            ours, usual = np.array(list(by[known].values())).T
            cells.append(f"{ours.mean():.2f}, {usual.mean():.2f}, {told(usual - ours)}")
        both = sorted(set(by[KNOWN[0]]) & set(by[KNOWN[1]]))
        lost = [np.subtract(*by[KNOWN[0]][g][::-1]) - np.subtract(*by[KNOWN[1]][g][::-1]) for g in both]
        print(f"| {name} | {' | '.join(cells)} | {told(lost)} |", flush=True)


def told(values: ArrayLike) -> str:
    """Mean and standard error."""
    v = np.asarray(values)
    return f"{v.mean():+.2f} ± {v.std(ddof=1) / math.sqrt(len(v)):.2f}"


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
