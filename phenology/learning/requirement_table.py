"""A requirement as DataFrames: what was learned of each species, and what keeps time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from phenology.learning.calibration import average_requirement
from phenology.learning.requirement import Requirement
from phenology.model.season import NEVER

if TYPE_CHECKING:
    import pandas as pd


def species_table(requirement: Requirement) -> pd.DataFrame:
    """What a requirement says of each species that its waits name.

    Returns
    -------
    DataFrame, one row a species
        ``species``; ``waits`` it rests on, ``unfinished`` ones among them, ``trees``, ``seasons``;
        ``days_at_18c``: median for an average tree and season, and the 80 % interval of that average in
        ``days_at_18c_p10``, ``days_at_18c_p90``; ``prior_days_at_18c``; ``prior_share`` (1: all prior, 0:
        none). Days are days at a steady 18 °C.
    """
    import pandas as pd

    rows = []
    for name in requirement.columns.species:
        mine = [wait for wait in requirement.waits if wait.species == name]
        middle, low, high = average_requirement(requirement, name)
        rows.append({
            "species": name, "waits": len(mine), "unfinished": sum(w.target[1] == NEVER for w in mine),
            "trees": len({w.tree for w in mine}), "seasons": len({w.season for w in mine}),
            "days_at_18c": middle, "days_at_18c_p10": low, "days_at_18c_p90": high,
            "prior_days_at_18c": requirement.model.prior_of(name)[0],
            "prior_share": requirement.prior_share(name),
        })  # fmt: skip
    return pd.DataFrame(rows)


def clock_table(requirement: Requirement) -> pd.DataFrame:
    """What keeps time, before and after the waits have spoken.

    Returns
    -------
    DataFrame, one row a clock, the likeliest first
        ``clock``; ``prior`` and ``share``, each summing to 1.
    """
    import pandas as pd

    model = requirement.model
    names = [clock.name for clock in model.clocks]
    frame = pd.DataFrame({"clock": names, "prior": model.clock_weights, "share": requirement.clock_shares})
    return frame.sort_values("share", ascending=False, kind="stable", ignore_index=True)
