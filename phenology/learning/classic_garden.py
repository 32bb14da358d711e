"""The classic estimators on a garden's own waits: lengths against mean temperatures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from phenology.garden import Garden
from phenology.learning.classic import CLASSIC, ClassicBase
from phenology.learning.garden_fit import GardenFit
from phenology.learning.transitions import Transition, all_transitions
from phenology.learning.waits import Wait
from phenology.model.arrays import Array
from phenology.model.errors import InputError


@dataclass(frozen=True)
class ClassicRow:
    """One species and step.

    Attributes
    ----------
    waits, seasons : int
        Finished waits used, and the seasons they come from.
    temperatures, durations : ndarray, shape (waits,)
        Mean temperature over each wait, and its length. [°C], [d]
    results : tuple of ClassicBase
        What the estimators say; none where `why_not` says why.
    why_not : str
    """

    species: str
    transition: Transition
    waits: int
    seasons: int
    temperatures: Array
    durations: Array
    results: tuple[ClassicBase, ...]
    why_not: str = ""


def classic_rows(fit: GardenFit, species: str | None = None) -> Iterator[ClassicRow]:
    """Classic estimates for every species and single step with finished waits.

    Parameters
    ----------
    fit : GardenFit
    species : str, optional
        Latin name; without it every species that has trees.
    """
    for name in [species] if species else dict.fromkeys(t.species for t in fit.garden.trees):
        for transition in all_transitions():
            waits = [w for w in fit.waits(transition) if w.species == name and np.isfinite(w.target).all()]
            if waits and len(transition.links()) == 1:
                yield _row(fit.garden, name, transition, waits)


def _row(garden: Garden, species: str, transition: Transition, waits: list[Wait]) -> ClassicRow:
    pairs = np.array([warmth_and_length(garden, wait) for wait in waits])
    results, why_not = [], ""
    for estimate in CLASSIC.values():
        try:
            results.append(estimate(pairs[:, 0], pairs[:, 1]))
        except InputError as error:
            why_not = why_not or str(error)
    seasons = len({w.season for w in waits})
    return ClassicRow(
        species, transition, len(waits), seasons, pairs[:, 0], pairs[:, 1], tuple(results), why_not
    )


def warmth_and_length(garden: Garden, wait: Wait) -> tuple[float, float]:
    """Mean temperature where the tree stood, and days, from middle to middle of a wait's two intervals."""
    began, ended = wait.anchor_middle, float(np.mean(wait.target))
    ended = max(ended, began + 0.5)  # looks on neighbouring days may put the middles on one moment
    low, high, _ = garden.record_at(wait.site).filled(wait.season)
    sums = np.concatenate([[0.0], np.cumsum((low + high) / 2)])
    at = np.interp([began, ended], np.arange(len(sums)), sums)
    return float(at[1] - at[0]) / (ended - began), ended - began
