"""What is true of a simulated garden: which clocks its trees keep, what each step takes, what differs.

The truth is drawn wider than, and apart from, the model that will be fitted: continuous base temperatures, a
heat stall at a temperature of its own, season effects that the steps share in part, and hardening that may
follow daylength by a rule that is not the model's. All numbers are ours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from data_sources.demo.flushes import TrueFlush
from phenology.heat.clocks import CALENDAR_SHARE, Clock
from phenology.heat.daylength import daylength
from phenology.model.arrays import Array
from phenology.species.catalogue import Species

STEPS = ("start_budbreak", "work_budbreak", "budbreak_extended", "extended_hardened")
HARDENS_BY = ("heat", "days", "daylength")
USUAL_LIGHT = 14.0  # hours of a day at which hardening by daylength runs at its usual pace


@dataclass(frozen=True)
class Nature:
    """How the trees of one garden keep time.

    Attributes
    ----------
    growth : Clock
        What bud break and leaf growth follow.
    hardens_by : str
        One of `HARDENS_BY`.
    stall : float
        Days whose maximum is above this count for nothing but the calendar's share. [°C]
    tree, season, noise : float
        Standard deviations on the log scale: between trees, between seasons, and what is left. Half of a
        season's variance is common to all steps, half each step's own.
    """

    growth: Clock
    hardens_by: str
    stall: float
    tree: float
    season: float
    noise: float

    @classmethod
    def draw(cls, rng: np.random.Generator) -> Nature:
        """One garden's nature."""
        if rng.random() < 0.5:
            clock = Clock("true", "sine", float(rng.uniform(2, 8)))
        else:
            clock = Clock(
                "true",
                "falling",
                float(rng.uniform(1, 7)),
                float(rng.uniform(25, 30)),
                float(rng.uniform(38, 43)),
            )
        return cls(
            clock,
            str(rng.choice(HARDENS_BY, p=(0.6, 0.2, 0.2))),
            float(rng.uniform(34, 40)),
            float(rng.uniform(0.03, 0.10)),
            float(rng.uniform(0.05, 0.15)),
            float(rng.uniform(0.04, 0.10)),
        )

    def rates(self, tmin: Array, tmax: Array, latitude: float, first_day_of_year: int) -> tuple[Array, Array]:
        """Daily rates of growth and of hardening over one season. [days at 18 degC]"""
        growth = self.growth.rates(tmin, tmax)
        growth = np.where(tmax > self.stall, CALENDAR_SHARE, growth)
        if self.hardens_by == "heat":
            return growth, growth
        if self.hardens_by == "days":
            return growth, np.ones_like(growth)
        day = (first_day_of_year - 1 + np.arange(len(tmin))) % 365 + 1
        hours = np.maximum(daylength(day, latitude), 6.0)
        return growth, (USUAL_LIGHT / hours) ** 3


@dataclass(frozen=True)
class Needs:
    """What each step takes a species in this garden on average, in days at 18 degC, and what a later flush
    differs by (a factor)."""

    days: dict[str, float]
    later: float

    @classmethod
    def draw(cls, species: Species, rng: np.random.Generator) -> Needs:
        """A species that lies as far from the catalogue as the catalogue says it may."""
        days = {
            step: species.priors[step].days
            * float(np.exp(species.priors[step].log_sd * np.clip(rng.normal(), -2, 2)))
            for step in STEPS
        }
        return cls(days, float(np.exp(rng.normal(0, 0.15))))


@dataclass(frozen=True)
class Factors:
    """What one tree makes of each step in one season."""

    by_step: dict[str, float]


def draw_factors(nature: Nature, trees: int, seasons: int, rng: np.random.Generator) -> list[list[Factors]]:
    """Factors by tree and season; nested lists, `[tree][season]`."""
    half = nature.season / np.sqrt(2)
    common, own = half * rng.normal(size=seasons), half * rng.normal(size=(seasons, len(STEPS)))
    out = []
    for _ in range(trees):
        tree = nature.tree * rng.normal()
        out.append(
            [
                Factors(
                    {
                        step: float(np.exp(tree + common[s] + own[s, k] + nature.noise * rng.normal()))
                        for k, step in enumerate(STEPS)
                    }
                )
                for s in range(seasons)
            ]
        )
    return out


def run(
    growth: Array, hardening: Array, began: float, first: str, needs: Needs, factors: Factors
) -> TrueFlush:
    """Run one flush.

    Parameters
    ----------
    growth, hardening : ndarray, shape (days,)
        Daily rates. [days at 18 degC]
    began : float
        When it was woken; 0 for the season's own. [day of season]
    first : str
        `start_budbreak` or `work_budbreak`.
    """
    later = needs.later if first == "work_budbreak" else 1.0
    grown, hard = (np.concatenate([[0.0], np.cumsum(rate)]) for rate in (growth, hardening))
    need = {step: needs.days[step] * factors.by_step[step] for step in STEPS}
    budbreak = _reach(grown, began, need[first])
    extending = _reach(grown, budbreak, 0.25 * need["budbreak_extended"] * later)
    extended = _reach(grown, budbreak, need["budbreak_extended"] * later)
    hardened = _reach(hard, extended, need["extended_hardened"] * later)
    return TrueFlush(
        began, {"budbreak": budbreak, "extending": extending, "extended": extended, "hardened": hardened}
    )


def _reach(sums: Array, start: float, amount: float) -> float:
    """Time at which the sums have run `amount` further than at `start`; infinite past the season."""
    days = np.arange(len(sums))
    if not np.isfinite(start):
        return float("inf")
    wanted = float(np.interp(start, days, sums)) + amount
    return float("inf") if wanted > sums[-1] else float(np.interp(wanted, sums, days))
