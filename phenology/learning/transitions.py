"""From where a flush is to where it may get: the waits that requirements are learned for."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import NamedTuple

from phenology.heat.clocks import USUAL_WEIGHTS, clock_weights
from phenology.species.catalogue import Species, load_species, neutral_species

STARTS = ("start", "work", "budbreak", "extended")
TARGETS = ("budbreak", "extended", "hardened")

LINKS: dict[str, str] = {
    "start": "budbreak",
    "work": "budbreak",
    "budbreak": "extended",
    "extended": "hardened",
}


# Ours: what a wait from the season's start is believed to follow. From there plain days are the date.
SPRING = clock_weights(heat=0.45, days=0.15, date=0.0, lengthening=0.40)
# Ours: what hardening is believed to follow where it begins while days lengthen, and long after.
EARLY = clock_weights(heat=0.70, shortening=0.08, light=0.05, days=0.12, date=0.05)
LATE = clock_weights(heat=0.35, shortening=0.20, light=0.13, days=0.12, date=0.20)
SHORTENED_DAYS = 60.0
YEAR_DAYS = 365.25


class Transition(NamedTuple):
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
    def clock_weights(self) -> tuple[float, ...]:
        """What the wait is believed to follow before the records speak (ours).

        Leaf growth and bud break lean on heat, bud break from the season's start on heat in lengthening days;
        what ends growth leans towards days and date, as bud set follows daylength in many temperate species
        (textbook knowledge).
        """
        if self.start == "start":
            return SPRING
        if self.target == "hardened":
            return _between(EARLY, LATE, 0.5 if self.start == "extended" else 0.25)
        return USUAL_WEIGHTS

    @property
    def leans(self) -> bool:
        """Whether it follows other clocks late in the season than early."""
        return self.target == "hardened" and self.start != "start"

    def clock_weights_at(self, past_longest: float) -> tuple[float, ...]:
        """The same for a wait that begins so many days after the year's longest day (before it: negative).

        Only what ends in hard leaves changes with the season: towards heat while days lengthen, towards light
        and date as they shorten, fully so two months after the longest day (ours).
        """
        if not self.leans:
            return self.clock_weights
        # a garden may set its own season's start, so that the longest day lies after the wait in it
        past = (past_longest + YEAR_DAYS / 2) % YEAR_DAYS - YEAR_DAYS / 2
        return _between(EARLY, LATE, min(max(past / SHORTENED_DAYS, 0.0), 1.0))

    @property
    def words(self) -> str:
        """How the wait is called in a table."""
        begins = {"start": "season's start", "work": "work", "budbreak": "bud break", "extended": "extended"}
        ends = {"budbreak": "bud break", "extended": "extended", "hardened": "hardened"}
        return f"{begins[self.start]} to {ends[self.target]}"


def _between(early: Sequence[float], late: Sequence[float], part: float) -> tuple[float, ...]:
    """Weights that lie some part of the way from one set to another."""
    return tuple(a + part * (b - a) for a, b in zip(early, late, strict=True))


def prior_of_transition(species: Species, transition: Transition) -> tuple[float, float]:
    """A species' prior for a wait: median days at 18 degC and the log-scale sd of its mean.

    A wait of several steps adds their days; their uncertainties are taken as independent.
    """
    steps = [species.prior(step.start, step.target) for step in transition.links()]
    days = sum(p.days for p in steps)
    variance = sum((p.days * p.log_sd) ** 2 for p in steps)
    return days, math.sqrt(variance) / days


def catalogue_priors(given: str, target: str) -> Callable[[str], tuple[float, float]]:
    """The catalogue's prior of any species, by its Latin name, for the wait between two stages.

    Examples
    --------
    >>> days, log_sd = catalogue_priors("budbreak", "hardened")("Ulmus parvifolia")
    >>> days > 20 and 0 < log_sd < 1
    True
    """
    catalogue = load_species()

    def prior_of(name: str) -> tuple[float, float]:
        return prior_between(catalogue.get(name) or neutral_species(name), given, target)

    return prior_of


LEAFING = Transition("budbreak", "extended")
"""While leaves are counted."""


def all_transitions() -> Iterable[Transition]:
    """Every wait from a start to a target that follows it."""
    for start in STARTS:
        at = start
        while at in LINKS:
            at = LINKS[at]
            yield Transition(start, at)


# Where the stages between the chain's own stand within its steps, as shares of the step's days (ours).
_WITHIN: dict[str, tuple[str, float]] = {
    "swelling": ("start_budbreak", 0.85),
    "budbreak": ("budbreak_extended", 0.0),
    "extending": ("budbreak_extended", 0.25),
    "extended": ("extended_hardened", 0.0),
}


def prior_between(species: Species, given: str, target: str) -> tuple[float, float]:
    """A species' prior for the wait between any two stages: median days at 18 degC and log-scale sd.

    Stages that the chain does not name stand at a share of the step they fall in; `turning` and `bare`
    come by date rather than by heat and get a very wide prior.
    """
    days, variance = 0.0, 0.0
    order = ("dormant", "swelling", "budbreak", "extending", "extended", "hardened")
    if given not in order or target not in order:
        return 60.0, 1.0
    for step, (first, last) in {
        "start_budbreak": ("dormant", "budbreak"),
        "budbreak_extended": ("budbreak", "extended"),
        "extended_hardened": ("extended", "hardened"),
    }.items():
        prior = species.priors[step]
        begins = _share(given, step) if order.index(given) > order.index(first) else 0.0
        ends = _share(target, step) if order.index(target) < order.index(last) else 1.0
        part = max(0.0, ends - begins) * prior.days
        days, variance = days + part, variance + (part * prior.log_sd) ** 2
    return days, math.sqrt(variance) / days


def _share(stage: str, step: str) -> float:
    inside, share = _WITHIN.get(stage, ("", 0.0))
    if inside == step:
        return share
    order = ("start_budbreak", "budbreak_extended", "extended_hardened")
    return 1.0 if stage == "hardened" or (inside and order.index(inside) > order.index(step)) else 0.0
