"""What came from whom: each garden's share in what is believed of a species and step."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from phenology.learning.club import unlikeness
from phenology.learning.garden_fit import GardenFit
from phenology.learning.sharing import SHARED
from phenology.learning.transitions import Transition

SHOWN = "heat above 5"
"""The clock on which another garden's days are shown."""
ALIKE, NEAR = 0.5, 1.5  # how far climates may lie apart to be called so (ours)


@dataclass(frozen=True)
class LearnedFrom:
    """What one other garden says of one wait."""

    species: str
    transition: Transition
    garden: str  # as it is called here
    seasons: int  # that it rests on, like the next two
    trees: int
    looks: int
    # median for an average tree and season with its 80 % interval, as heat above 5 °C reads it; None where
    # that garden's looks leave it open. [days at 18 degC]
    days: tuple[float, float, float] | None
    weight: float  # its share among all other gardens, 0 to 1
    climate: str  # "alike", "near" or "other"


def learned_from(fit: GardenFit, species: str | None = None) -> Iterator[LearnedFrom]:
    """What other gardens say of this garden's species, or of one."""
    names = [species] if species else list(dict.fromkeys(tree.species for tree in fit.garden.trees))
    for name in names:
        for transition in SHARED:
            club = fit.club(transition)
            if club is None or name not in club.species:
                continue
            told = [
                (one, wait)
                for one in fit.garden.shared
                for step in one.steps
                if (step.start, step.target) == (transition.start, transition.target)
                for wait in step.waits
                if wait.species == name
            ]
            for (one, wait), weight in zip(told, club.weights(name), strict=True):
                far = unlikeness(one.climate, fit.garden.climate)
                days = None
                if (reading := wait.readings.get(SHOWN)) is not None:
                    low, high = (reading.log + z * reading.sd for z in (-1.2816, 1.2816))
                    days = math.exp(reading.log), math.exp(low), math.exp(high)
                yield LearnedFrom(
                    name, transition, one.label, wait.seasons, wait.trees, wait.looks, days, weight,
                    "alike" if far < ALIKE else "near" if far < NEAR else "other",
                )  # fmt: skip
