"""How far off the forecasts of each season were: past forecasts summed up season by season."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from phenology.model.track_record import PastForecast, first_hardenings, usual_dates

NEAR_DAYS = 21  # forecasts issued within this of the event are the ones that a window is planned on (ours)


@dataclass(frozen=True)
class SeasonErrors:
    """Forecasts of one season's first hardenings against what came. Misses are medians over flushes."""

    season: int
    flushes: int  # that were forecast
    forecasts: int  # made of them
    # distance of the median forecast, issued when its wait began (at bud break where that is on record), from
    # the middle of the looks either side. [days]
    missed: float
    late: float  # the same with its sign: too late (+) or too early (-). [days]
    # distance of those issued in the last `NEAR_DAYS` days; NaN where there are none. [days]
    missed_near: float
    # distance of the species' mean date in the other seasons; NaN where there are none. [days]
    usual_missed: float
    held: float  # share of the ranges meant to hold four in five that held the middle of the looks


def season_errors(past: Sequence[PastForecast]) -> list[SeasonErrors]:
    """Sum up past forecasts of first hardenings season by season, oldest first.

    They may be of one species or of all; those of other stages and flushes are left out.
    """
    past = first_hardenings(past)
    usual = {
        (species, season): day
        for species in {one.species for one in past}
        for season, day in usual_dates([one for one in past if one.species == species]).items()
        if not math.isnan(day)
    }
    return [
        _of_season(season, [p for p in past if p.season == season], usual)
        for season in sorted({p.season for p in past})
    ]


def _of_season(
    season: int, past: Sequence[PastForecast], usual: dict[tuple[str, int], float]
) -> SeasonErrors:
    flushes: dict[tuple[str, str, float], list[PastForecast]] = defaultdict(list)
    for one in past:
        flushes[one.species, one.tree, one.by].append(one)
    first = [min(made, key=lambda p: p.issued) for made in flushes.values()]
    near = [
        float(np.mean([abs(p.error) for p in made if p.lead <= NEAR_DAYS]))
        for made in flushes.values()
        if any(p.lead <= NEAR_DAYS for p in made)
    ]
    usually = [abs(usual[p.species, season] - p.middle) for p in first if (p.species, season) in usual]
    return SeasonErrors(
        season,
        len(flushes),
        len(past),
        _median([abs(p.error) for p in first]),
        _median([p.error for p in first]),
        _median(near),
        _median(usually),
        float(np.mean([p.q10 <= p.middle <= p.q90 for p in past])),
    )


def _median(values: Sequence[float]) -> float:
    return float(np.median(values)) if values else math.nan
