"""How far past forecasts missed, by species, stage and lead: what a forecast's trust rests on."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

ENOUGH_SEASONS = 4
"""Seasons from which on "the weather added nothing" is believed (ours): fewer are luck."""

FOUR_IN_FIVE = 0.8
LEADS = (7, 21, 45, 90)
"""Ends of the classes of lead within which forecasts share a number (ours); the last is open. [days]"""


class PastForecast(NamedTuple):
    """One forecast of a stage that has since been seen, made without what came later in its season."""

    species: str  # Latin name
    tree: str  # its id
    season: int
    flush: int
    stage: str
    issued: int  # day of the season at whose end it was made
    from_start: bool  # whether it was made before bud break, counting from the season's start
    by_calendar: bool  # whether the clocks of the calendar alone spoke, as the weather had added nothing
    # days of the season by which it had come with that chance; past the season's end where it had not
    q10: float
    q25: float
    q50: float
    q75: float
    q90: float
    p_not: float  # the chance it gave to the stage not coming at all
    after: float  # the last look before it [day of season]
    by: float  # the first look at it
    chance: float  # what the forecast gave to it having come by the middle of those looks

    @property
    def middle(self) -> float:
        """Middle of the looks either side."""
        return (self.after + self.by) / 2

    @property
    def lead(self) -> float:
        """Days from the forecast to the event."""
        return self.middle - self.issued

    @property
    def expected_lead(self) -> float:
        """Days from the forecast to its median, known when it is made."""
        return self.q50 - self.issued

    @property
    def error(self) -> float:
        """Days by which the median came too late (+) or too early (-)."""
        return self.q50 - self.middle


def first_hardenings(past: Iterable[PastForecast]) -> list[PastForecast]:
    """Forecasts of first flushes' hard leaves; where bud break is on record, those made after it."""
    mine = [one for one in past if one.stage == "hardened" and one.flush == 1]
    seen = {(one.tree, one.season) for one in mine if not one.from_start}
    return [one for one in mine if not (one.from_start and (one.tree, one.season) in seen)]


@dataclass(frozen=True, eq=False, repr=False)
class TrackRecord:
    """Misses of the past forecasts of one species."""

    species: str
    seasons: int  # those in which first hardenings were forecast
    trees: int  # tree-seasons in them
    # whether the clocks of the calendar alone speak for this species: over enough seasons they came closer
    by_calendar: bool
    given: str  # what the earliest of these forecasts count from: "budbreak" or "start"
    # mean distance of the earliest forecast's median (made at bud break where that is on record), and of the
    # mean date of the other seasons, from the middle of what was seen; a mean over seasons. [days]
    missed: float
    usual_missed: float
    misses: Mapping[tuple[str, int], Mapping[int, Sequence[float]]]  # by stage and class of lead [days]
    # by how much the earliest forecasts' medians came too late (+), a mean over trees. [days]
    errors: Mapping[int, float] = field(default_factory=dict)

    @classmethod
    def of(cls, past: Sequence[PastForecast]) -> dict[str, TrackRecord]:
        """The record of every species that was forecast, by its Latin name."""
        by_species: dict[str, list[PastForecast]] = defaultdict(list)
        for one in past:
            by_species[one.species].append(one)
        return {species: cls._of(species, rows) for species, rows in by_species.items()}

    @classmethod
    def _of(cls, species: str, past: Sequence[PastForecast]) -> TrackRecord:
        misses: dict[tuple[str, int], dict[int, list[float]]] = defaultdict(lambda: defaultdict(list))
        for one in past:
            misses[one.stage, lead_class(one.expected_lead)][one.season].append(abs(one.error))
        earliest = list(_earliest(first_hardenings(past)).values())
        usual = usual_dates(earliest)
        ours, theirs = (
            _over_seasons(earliest, value)
            for value in (lambda one: abs(one.error), lambda one: abs(usual[one.season] - one.middle))
        )
        seasons = len({one.season for one in earliest})
        given = "start" if all(one.from_start for one in earliest) else "budbreak"
        found = {key: dict(rows) for key, rows in misses.items()}
        by_calendar = all(one.by_calendar for one in past)
        errors: dict[int, list[float]] = defaultdict(list)
        for one in earliest:
            errors[one.season].append(one.error)
        means = {season: _mean(values) for season, values in sorted(errors.items())}
        return cls(species, seasons, len(earliest), by_calendar, given, ours, theirs, found, means)

    @property
    def compared(self) -> bool:
        """Whether there is a usual date of other seasons to compare with."""
        return math.isfinite(self.missed) and math.isfinite(self.usual_missed)

    @property
    def weather_helps(self) -> bool:
        """Whether forecasting from weather came closer than the usual date."""
        return self.missed < self.usual_missed

    @property
    def weather_adds_nothing(self) -> bool:
        """Whether, over enough seasons, the usual date did as well."""
        return self.seasons >= ENOUGH_SEASONS and self.missed >= self.usual_missed

    def within(self, stage: str, lead: float, half_width: float) -> float:
        """Distance that four in five forecasts made `lead` days before their median keep within. [days]

        With few seasons behind it, it is drawn towards `half_width`, half the width of the range that this
        forecast gives to four in five: as if that had been kept for two seasons more (ours).
        """
        by_season = self.misses.get((stage, lead_class(lead)), {})
        if not by_season:
            return half_width
        key = (stage, lead_class(lead))
        if key not in self._kept:
            self._kept[key] = _quantile(by_season, FOUR_IN_FIVE)
        kept = self._kept[key]
        return (len(by_season) * kept + 2 * half_width) / (len(by_season) + 2)

    @cached_property
    def _kept(self) -> dict[tuple[str, int], float]:
        return {}


def lead_class(lead: float) -> int:
    """The class of lead that a forecast belongs to, 0 for the shortest.

    Examples
    --------
    >>> [lead_class(days) for days in (3, 7, 8, 60, 120)]
    [0, 0, 1, 3, 4]
    """
    return sum(lead > end for end in LEADS)


def usual_dates(past: Sequence[PastForecast]) -> dict[int, float]:
    """For each season the mean of the other seasons' mean dates; NaN where there is none. [day of season]"""
    middles: dict[int, dict[tuple[str, float], float]] = defaultdict(dict)
    for one in past:
        middles[one.season][one.tree, one.by] = one.middle
    means = {season: _mean(list(trees.values())) for season, trees in middles.items()}
    return {season: _mean([mean for other, mean in means.items() if other != season]) for season in means}


def _earliest(past: Iterable[PastForecast]) -> dict[tuple[str, int], PastForecast]:
    """The first forecast of each flush."""
    out: dict[tuple[str, int], PastForecast] = {}
    for one in past:
        key = (one.tree, one.season)
        if key not in out or one.issued < out[key].issued:
            out[key] = one
    return out


def _over_seasons(past: Iterable[PastForecast], value: Callable[[PastForecast], float]) -> float:
    """A mean in which each season counts alike."""
    by_season: dict[int, list[float]] = defaultdict(list)
    for one in past:
        by_season[one.season].append(value(one))
    return _mean([_mean(values) for values in by_season.values()])


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else math.nan


def _quantile(by_season: Mapping[int, Sequence[float]], level: float) -> float:
    """The smallest distance that holds a share of all, each season counting alike."""
    weighed = sorted((v, 1 / len(values)) for values in by_season.values() for v in values)
    reached, wanted = 0.0, level * len(by_season) - 1e-9
    for value, weight in weighed:
        reached += weight
        if reached >= wanted:
            return value
    return weighed[-1][0]
