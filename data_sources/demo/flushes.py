"""Growers and trees whose truth is known: flushes run by heat, and looks at them now and then."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from phenology.heat.clocks import Clock, ThermalTime

TRUE_CLOCK = Clock("heat above 5", "sine", 5.0)


@dataclass(frozen=True)
class TrueFlush:
    """When a flush's stages truly came, in days of its season; infinite where they did not."""

    began: float  # when it was woken (0 for the season's own)
    came: dict[str, float]  # for budbreak, extending, extended and hardened

    def stage_at(self, t: float) -> str:
        """The stage that stands at a time, from dormant to hardened."""
        stage = "dormant"
        for name, when in self.came.items():
            if t >= when:
                stage = name
        return stage


def run_flush(
    thermal_time: ThermalTime, began: float, steps: dict[str, float], factor: float = 1.0
) -> TrueFlush:
    """Run a flush on one clock, from when it was woken. [day of season]

    `steps` are the days at 18 degC that budbreak, extended and hardened each take after the one before,
    `factor` what this tree and season make of every step.
    """
    came: dict[str, float] = {}
    at = began
    for stage in ("budbreak", "extended", "hardened"):
        at = time_at(thermal_time, at, steps[stage] * factor)
        came[stage] = at
        if stage == "budbreak":
            came["extending"] = time_at(thermal_time, at, 0.25 * steps["extended"] * factor)
    return TrueFlush(began, came)


def time_at(thermal_time: ThermalTime, start: float, amount: float) -> float:
    """Time at which a single clock has run `amount` further than at `start`; infinite past the season."""
    if not np.isfinite(start):
        return float("inf")
    sums = thermal_time.sums[0]
    wanted = float(thermal_time.at(start)[0]) + amount
    if wanted > sums[-1]:
        return float("inf")
    return float(np.interp(wanted, sums, np.arange(len(sums))))


def look_days(first: int, last: int, every: float, chance: np.random.Generator) -> Iterator[int]:
    """Days on which a grower walks the benches: about every so many days, never quite regularly."""
    day = first + int(chance.integers(0, max(2, round(every))))
    while day <= last:
        yield day
        day += max(1, round(every + chance.normal(0, every / 4)))
