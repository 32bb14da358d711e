"""Simulated clubs: growers of the same species, and a new member. All numbers are ours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from phenology.learning.sharing import shared_steps
from phenology.model.shared_calibration import SharedCalibration
from phenology.species.catalogue import load_species
from tests.simulated.climates import Climate
from tests.simulated.growers import SPECIES, Kin, SimulatedGarden, simulate
from tests.simulated.observers import OBSERVERS
from tests.simulated.study import Forecasted, forecasts
from tests.simulated.truth import Nature, Needs

GARDEN_SD = 0.10
"""How far a species' waits differ between gardens of a club: strain, pot, and what growers call hard."""
ORIGIN_SD = 0.10
"""How much further they differ where climates do: stock of another origin."""
LOOKERS = [o for o in OBSERVERS if not o.only_work]


@dataclass(frozen=True)
class SimulatedClub:
    """Five gardens with records, and a sixth whose first season it is."""

    others: list[SimulatedGarden]
    member: SimulatedGarden

    def shared(self) -> list[SharedCalibration]:
        """What the five share."""
        return [
            SharedCalibration(f"{k:016x}", f"garden {k}", sim.garden.climate, tuple(shared_steps(sim.garden)))
            for k, sim in enumerate(self.others)
        ]


def club(
    member: Climate, others: Sequence[Climate], seed: int, *, seasons: int = 3, far: float = 0.0
) -> SimulatedClub:
    """A club whose members grow two species.

    Parameters
    ----------
    member, others : Climate
        Of the new member, and of the gardens that share.
    far : float
        How much further the new member's trees may differ, in units of `ORIGIN_SD`.
    """
    rng = np.random.default_rng([seed, 23])
    catalogue = load_species()
    kinds = [SPECIES[k] for k in rng.permutation(len(SPECIES))[:2]]
    nature = Nature.draw(rng)
    needs = {name: Needs.draw(catalogue[name], rng) for name in kinds}

    def garden(climate: Climate, k: int, seasons: int, sd: float) -> SimulatedGarden:
        own = {
            name: replace(need, days={s: d * float(np.exp(sd * rng.normal())) for s, d in need.days.items()})
            for name, need in needs.items()
        }
        looker = LOOKERS[(seed + k) % len(LOOKERS)]
        return simulate(climate, looker, 1000 * seed + k, seasons=seasons, trees=4, kin=Kin(nature, own))

    return SimulatedClub(
        [garden(climate, k, seasons, GARDEN_SD) for k, climate in enumerate(others)],
        garden(member, 99, 1, float(np.hypot(GARDEN_SD, far * ORIGIN_SD))),
    )


def first_season(members: SimulatedClub, seed: int) -> tuple[list[Forecasted], list[Forecasted]]:
    """The new member's first season by the catalogue alone, and with what the others share."""
    alone = list(forecasts(members.member, seed))
    told = replace(members.member.garden, shared=members.shared())
    return alone, list(forecasts(replace(members.member, garden=told), seed))
