"""What the records have taught, species by species and step by step."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from phenology.heat.clocks import CLOCKS
from phenology.learning.garden_fit import GardenFit
from phenology.learning.prediction import Prediction
from phenology.learning.requirement import Requirement
from phenology.learning.transitions import Transition, all_transitions
from phenology.mathematics.distributions import normal_cdf
from phenology.model.arrays import Array
from phenology.model.season import NEVER

MIDDLE = 0.8
"""Share of seasons that the intervals shown are meant to hold."""


@dataclass(frozen=True)
class Calibrated:
    """One species and step."""

    species: str
    transition: Transition
    looks: int  # looks at the species in the records
    seasons: int  # with the step seen to its end
    unfinished: int  # waits that ended without it (they count as such)
    # median requirement of an average tree and season, and the interval of that average. [days at 18 degC]
    days: tuple[float, float, float]
    prior_days: float  # the catalogue's median. [days at 18 degC]
    # expected error of a forecast made when the step begins and the weather is as usual: the mean distance
    # between median and date in a new season. [days at 18 degC]
    error_days: float
    prior_share: float  # share of the catalogue in what is believed of the mean, 1 to 0
    others_share: float  # the same of other gardens' calibrations
    clock: str  # the clock that explains the dates best, and its share among all
    clock_share: float


def calibrate(
    fit: GardenFit, species: str | None = None, *, progress: Callable[[int, int], None] | None = None
) -> Iterator[Calibrated]:
    """Say what was learned, for every species and step with records (or for all steps of one species).

    Parameters
    ----------
    species : str, optional
        Latin name; without it every species that has trees.
    progress : callable, optional
        Called with (species done, species to do).
    """
    names = [species] if species else list(dict.fromkeys(t.species for t in fit.garden.trees))
    single = [t for t in all_transitions() if len(t.links()) == 1]
    for done, name in enumerate(names):
        if progress is not None:
            progress(done, len(names))
        for transition in all_transitions():
            seen = [w for w in fit.waits(transition) if w.species == name]
            if transition in single:
                shown = bool(seen) or (species is not None and transition.start != "work")
            else:
                shown = fit.weight(name, transition) > 0
            if shown:
                yield _calibrated(fit, name, transition)


def _calibrated(fit: GardenFit, species: str, transition: Transition) -> Calibrated:
    requirement = fit.requirement(transition)
    mean, low, high = average_requirement(requirement, species)
    trees = {t.id for t in fit.garden.trees if t.species == species}
    waits = [w for w in fit.waits(transition) if w.species == species]
    best = int(np.argmax(requirement.clock_shares))
    later = transition.start == "work"
    new = requirement.predict(species, "", -1, later, requirement.columns.centre.get((species, later), 0.0))
    before, club = requirement.prior_share(species), fit.club(transition)
    others = 0.0 if club is None else before * (1 - club.belief(species).catalogue)
    return Calibrated(
        species,
        transition,
        sum(look.tree_id in trees for look in fit.garden.looks),
        len(fit.seasons_seen(species, transition)),
        sum(1 for w in waits if w.target[1] == NEVER),
        (mean, low, high),
        fit.prior(species, transition)[0],
        expected_error(new, best_heat_clock(requirement)),
        before - others,
        others,
        CLOCKS[best].name,
        float(requirement.clock_shares[best]),
    )


def average_requirement(requirement: Requirement, species: str) -> tuple[float, float, float]:
    """Median and 80 % interval for an average tree in an average season. [days at 18 degC]

    How long the wait would last at a steady 18 degC, over all heat clocks that do not answer to light, by
    their shares: they disagree on it, and nobody knows which of them is right.
    """
    believed = requirement.believed(species)
    columns = requirement.columns
    row = np.zeros(columns.shared)
    row[0] = 1.0
    known = species in columns.species
    if known:
        row[columns.FIRST_SPECIES + columns.species.index(species)] = 1.0
    parts = requirement.parts
    steady = np.isin(parts.clock, heat_clocks(requirement))
    weight = parts.weight[steady] / parts.weight[steady].sum()
    clocks = parts.clock[steady]
    means = believed.mean[clocks, 0] + parts.effects.mean_at(row)[steady]
    own = 0.0 if known else believed.species[clocks, 0]
    sds = np.sqrt(parts.effects.variance_at(row)[steady] + own)
    tail = (1 - MIDDLE) / 2
    middle, low, high = np.exp(_mixture_quantiles(weight, means, sds, np.array([0.5, tail, 1 - tail])))
    return float(middle), float(low), float(high)


def heat_clocks(requirement: Requirement) -> list[int]:
    """The heat clocks that draws were kept of, but for those that answer to light; all kept where none is."""
    clocks, kept = requirement.model.clocks, np.unique(requirement.parts.clock).tolist()
    heat = [c for c in kept if not clocks[c].by_calendar] or kept
    return [c for c in heat if not clocks[c].by_light] or heat


def best_heat_clock(requirement: Requirement) -> int:
    """The one of `heat_clocks` with the largest share."""
    return max(heat_clocks(requirement), key=lambda c: float(requirement.clock_shares[c]))


def expected_error(prediction: Prediction, clock: int) -> float:
    """Mean distance between median and requirement, as one clock reads it. [days at 18 degC]"""
    mine = prediction.clock == clock
    if not mine.any():  # it counts too little to be predicted with: the likeliest reads it
        mine = prediction.clock == prediction.clock[np.argmax(prediction.weight)]
    weight = prediction.weight[mine] / prediction.weight[mine].sum()
    sds = np.sqrt(prediction.variance[mine])
    grid = (np.arange(200) + 0.5) / 200
    values = np.exp(_mixture_quantiles(weight, prediction.mean[mine], sds, grid))
    return float(np.abs(values - np.median(values)).mean())


def _mixture_quantiles(weight: Array, mean: Array, sd: Array, levels: Array) -> Array:
    """Quantiles of a mixture of normal distributions, by bisection of all levels at once."""
    low = np.full(len(levels), (mean - 8 * sd).min())
    high = np.full(len(levels), (mean + 8 * sd).max())
    for _ in range(60):
        middle = (low + high) / 2
        below = normal_cdf((middle[:, None] - mean) / sd) @ weight < levels
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return np.asarray((low + high) / 2)
