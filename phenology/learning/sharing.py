"""What a garden's own looks say of its species, for other gardens: what they add to the catalogue, alone."""

from __future__ import annotations

import math
from collections.abc import Container, Iterator
from dataclasses import replace

import numpy as np

from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS
from phenology.learning.beliefs import Beliefs
from phenology.learning.garden_fit import GardenFit
from phenology.learning.requirement import Requirement
from phenology.learning.transitions import LINKS, Transition
from phenology.model.arrays import Array
from phenology.model.shared_calibration import Reading, SharedStep, SharedWait
from phenology.species.catalogue import load_species

SHARED = (*(Transition(*link) for link in LINKS.items()), Transition("budbreak", "hardened"))
"""The waits that forecasts of a garden without seasons of its own rest on."""
VAGUEST = 0.5  # the widest reading that is told: a wider one says next to nothing (ours)
FARTHEST = 12.0
"""A wait on a clock of warmth so many times longer or shorter than the catalogue's is none of that species,
or shows that nothing follows that clock; it is neither told nor believed (ours)."""
FAINTEST = 1e-3  # the least factor on a clock that is told (ours)


def shared_steps(garden: Garden) -> Iterator[SharedStep]:
    """What the garden's own records teach of each step; what it learned from others stays out."""
    fit = GardenFit(replace(garden, shared=(), species=load_species()))
    for transition in SHARED:
        species = dict.fromkeys(wait.species for wait in fit.waits(transition))
        seen = [name for name in species if fit.seasons_seen(name, transition)]
        if seen:
            step = _shared_step(fit, transition, seen)
            if step.waits:
                yield step


def _shared_step(fit: GardenFit, transition: Transition, species: list[str]) -> SharedStep:
    requirement = fit.requirement(transition)
    before = np.array(transition.clock_weights)
    factor = np.divide(requirement.clock_shares, before, out=np.zeros_like(before), where=before > 0)
    factor = np.maximum(factor / factor.max(), FAINTEST)
    clocks = {c.name: float(f) for c, f, b in zip(CLOCKS, factor, before, strict=True) if b > 0}
    even = _even(fit, transition)
    believed = even.model.beliefs(even.columns.species).yielding([True] * len(even.columns.species))
    waits = []
    for name in species:
        trees = {wait.tree for wait in fit.waits(transition) if wait.species == name}
        readings = dict(_readings(even, believed, name, clocks, later_only=transition.start == "work"))
        if readings:
            looks = sum(look.tree_id in trees for look in fit.garden.looks)
            seasons = len(fit.seasons_seen(name, transition))
            waits.append(SharedWait(name, seasons, len(trees), looks, readings))
    later = {} if transition.start == "work" else dict(_later(even, believed, clocks))
    return SharedStep(transition.start, transition.target, clocks, later, tuple(waits))


def _even(fit: GardenFit, transition: Transition) -> Requirement:
    """The requirement with every clock weighed alike, so that what each reads is known."""
    model = type(fit.model(transition))(
        fit.model(transition).prior_of, clock_weights=[1.0] * len(CLOCKS), temper=0.0
    )
    waits = fit.waits(transition)
    return model.fit(waits, fit.garden.thermal_time({(w.site, w.season) for w in waits}))


def _readings(
    requirement: Requirement, believed: Beliefs, species: str, told: Container[str], *, later_only: bool
) -> Iterator[tuple[str, Reading]]:
    """What the looks say of a species' wait on each of the clocks `told`."""
    at = requirement.columns.species.index(species)
    row = np.zeros(requirement.columns.shared)
    row[0] = row[requirement.columns.FIRST_SPECIES + at] = 1.0
    row[1] = float(later_only)
    for c, clock in enumerate(CLOCKS):
        if clock.name not in told:
            continue
        variance = float(believed.common[c] + believed.species[c, at] + believed.later[c] * later_only)
        found = _alone(requirement, c, row, variance)
        apart = math.log(FARTHEST) if not clock.by_calendar else math.inf
        if found is not None and abs(found.log) < apart:
            yield clock.name, Reading(float(believed.mean[c, at]) + found.log, found.sd)


def _later(
    requirement: Requirement, believed: Beliefs, told: Container[str]
) -> Iterator[tuple[str, Reading]]:
    row = np.zeros(requirement.columns.shared)
    row[1] = 1.0
    for c, clock in enumerate(CLOCKS):
        if clock.name not in told:
            continue
        found = _alone(requirement, c, row, float(believed.later[c]))
        if found is not None:
            yield clock.name, found


def _alone(requirement: Requirement, clock: int, row: Array, prior_variance: float) -> Reading | None:
    """What the looks add to a prior about 0, as a Gaussian of its own; None where it is vague."""
    parts, mine = requirement.parts, requirement.parts.clock == clock
    if not mine.any():
        return None
    weight = parts.weight[mine] / parts.weight[mine].sum()
    means, variances = parts.effects.mean_at(row)[mine], parts.effects.variance_at(row)[mine]
    mean = float(weight @ means)
    variance = float(weight @ (variances + (means - mean) ** 2))
    added = 1 / variance - 1 / prior_variance
    if added < 1 / VAGUEST**2:
        return None
    return Reading(mean / variance / added, 1 / math.sqrt(added))
