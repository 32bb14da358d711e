"""What the trade says, held against the catalogue alone (common practice, no source; statements disagree).

Taking the outer leaves off in mid-May, in a warm-temperate climate, gives a hardened second flush in six to
eleven weeks.
"""

from __future__ import annotations

from datetime import date

import pytest

from phenology.advice.garden_forecast import forecast_garden
from tests.phenology.gardens import Records, day
from tests.simulated.climates import CLIMATES

WARM_TEMPERATE = next(c for c in CLIMATES if c.name == "warm-temperate")
MID_MAY = 135


def weeks_to_hard(species: str, seed: int):
    """The chance, by species guess alone, that the second flush is hard by some weeks after the work."""
    records = Records()
    records.tree("tree", species)
    work = records.work("tree", 2020, MID_MAY, "partial-defoliation")
    records.flush("tree", 2020, "work", started_on=day(2020, MID_MAY), work_id=work)
    weather = WARM_TEMPERATE.weather(date(1996, 1, 1), date(2020, 12, 31), seed)
    rows = forecast_garden(records.garden(day(2020, MID_MAY), weather={"bench": weather})).rows
    row = next(r for r in rows if r.stage == "hardened" and r.flush == 2)
    assert row.trust.words == "species guess"
    return row.arrival


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("species", ["Acer buergerianum", "Ulmus parvifolia", "Zelkova serrata"])
def test_a_mid_may_defoliation_gives_a_hard_second_flush_in_six_to_eleven_weeks(species, seed):
    hard = weeks_to_hard(species, seed)
    assert 6 < (hard.quantile(0.5) - MID_MAY) / 7 < 11
    within = hard.chance_by(MID_MAY + 77) - hard.chance_by(MID_MAY + 42)
    assert within > 0.5  # most of the guess, and wide: the catalogue claims no more
    assert hard.chance_by(MID_MAY + 28) < 0.1
