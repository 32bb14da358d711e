"""From where a flush is to where it may get: the waits that requirements are learned for."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from phenology.species import Species

STARTS = ("start", "work", "budbreak", "extended")
TARGETS = ("budbreak", "extended", "hardened")

LINKS: dict[str, str] = {
    "start": "budbreak",
    "work": "budbreak",
    "budbreak": "extended",
    "extended": "hardened",
}


@dataclass(frozen=True)
class Transition:
    """One wait: `start` is the season's first day, `work` the work that woke the flush, or a stage."""

    start: str
    target: str

    def links(self) -> tuple[Transition, ...]:
        """The single steps that make it up."""
        out, at = [], self.start
        while at != self.target:
            out.append(Transition(at, LINKS[at]))
            at = LINKS[at]
        return tuple(out)

    @property
    def words(self) -> str:
        """How the wait is called in a table."""
        begins = {"start": "season's start", "work": "work", "budbreak": "bud break", "extended": "extended"}
        ends = {"budbreak": "bud break", "extended": "extended", "hardened": "hardened"}
        return f"{begins[self.start]} to {ends[self.target]}"


def prior_of_transition(species: Species, transition: Transition) -> tuple[float, float]:
    """A species' prior for a wait: median days at 18 degC and the log-scale sd of its mean.

    A wait of several steps adds their days; their uncertainties are taken as independent.
    """
    steps = [species.prior(step.start, step.target) for step in transition.links()]
    days = sum(p.days for p in steps)
    variance = sum((p.days * p.log_sd) ** 2 for p in steps)
    return days, math.sqrt(variance) / days


def all_transitions() -> Iterable[Transition]:
    """Every wait from a start to a target that follows it."""
    for start in STARTS:
        at = start
        while at in LINKS:
            at = LINKS[at]
            yield Transition(start, at)
