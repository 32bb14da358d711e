"""What a garden's leaf counts teach, and what they say of its flushes under way."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from phenology.heat.clocks import CLOCKS, ThermalTime
from phenology.learning.flush_history import FlushHistory
from phenology.learning.garden_fit import GardenFit
from phenology.learning.leaf_counts import FlushCounts, LeafCount, counts_of
from phenology.learning.phyllochron import (
    NUMBER_SEASON_SD,
    PACE_SEASON_SD,
    LeafRow,
    Learned,
    Pace,
    learn,
    pace_of,
    with_counts,
)
from phenology.learning.prediction import Prediction
from phenology.learning.transitions import LEAFING
from phenology.model.arrays import Array
from phenology.model.season import NEVER
from phenology.species.catalogue import neutral_species
from phenology.weather.season_weather import SeasonThermalTime

RANGE = 2 * 1.645  # a catalogue's two leaf counts hold nine in ten
ONE_LEAF = 0.5  # what counts as the first and as the last leaf is open by so much [leaves], ours
INTERVALS_SD = 0.3  # how far leaf intervals of species differ, log scale: `spread_leaves` of the catalogue


@dataclass(frozen=True)
class LeafHabit:
    """What is believed of the leaves of one species."""

    species: str
    flushes: int  # with counts, that it rests on
    paced: int  # those of them counted while they grew
    # phyllochron of an average first flush, with its 80 % interval. [days at 18 degC]
    days_a_leaf: tuple[float, float, float]
    # leaves to extended, with their 80 % interval: as counted at the end, where any flush was counted then,
    # else as the pace leads to
    leaves: tuple[float, float, float]
    base: float  # base temperature of the heat clock that the days are read on. [degC]

    @property
    def degree_days_a_leaf(self) -> float:
        """The phyllochron as heat above `base`. [degC d]"""
        return self.days_a_leaf[0] * (18.0 - self.base)


@dataclass(eq=False)
class GardenLeaves:
    """Leaf counts of a garden. Nothing is reckoned before a flush with counts asks for it."""

    fit: GardenFit
    _counts: dict[str, FlushCounts] = field(init=False, default_factory=dict)

    def counts(self, h: FlushHistory) -> FlushCounts:
        """The counts of one flush."""
        if h.flush.id not in self._counts:
            self._counts[h.flush.id] = counts_of(self.fit.garden, h)
        return self._counts[h.flush.id]

    def informed(
        self,
        h: FlushHistory,
        prediction: Prediction,
        thermal_time: ThermalTime,
        gap_variance: Array,
        times: Sequence[float],
    ) -> list[tuple[float, float, Prediction]]:
        """The wait from bud break to extended after the flush's last count.

        The count also tells which of the likely times of bud break is likelier.

        Parameters
        ----------
        thermal_time : ThermalTime
            The clocks over the season's traces; they agree up to the count.
        gap_variance : ndarray, shape (days + 1,)
        times : sequence of float
            Equally likely times of bud break. [day of season]

        Returns
        -------
        list of (share, time of bud break, prediction)
            As they were where no count says anything.
        """
        count = self.counts(h).growing
        if count is None:
            return [(1 / len(times), time, prediction) for time in times]
        leaves = self.leaves.of(h.tree.species, h.tree.id, h.number > 1)
        share = self.fit.prior_share(h.tree.species, LEAFING)
        first = ThermalTime(thermal_time.sums.mean(0)) if thermal_time.sums.ndim == 3 else thermal_time
        out = []
        for time in times:
            pace = _pace(count, first, gap_variance, time, prediction.usual)
            after, likely = with_counts(prediction, pace, leaves, CLOCKS, share)
            out.append((likely, time, after))
        total = sum(likely for likely, *_ in out)
        return [(likely / total, time, after) for likely, time, after in out]

    @cached_property
    def leaves(self) -> Learned:
        """Leaves to extended, from finished flushes: on each clock, as a log."""
        return learn(list(self._number_rows()), self._prior_leaves, len(CLOCKS), NUMBER_SEASON_SD)

    @cached_property
    def phyllochron(self) -> Learned:
        """Time a leaf, from every flush counted while it grew: on each clock, as a log."""
        return learn(list(self._pace_rows()), self._prior_phyllochron, len(CLOCKS), PACE_SEASON_SD)

    def habits(self, species: str | None = None) -> list[LeafHabit]:
        """`habit` of every species that has counts, or of one."""
        names = [species] if species else list(dict.fromkeys(t.species for t in self.fit.garden.trees))
        return [habit for name in names if (habit := self.habit(name))]

    def habit(self, species: str) -> LeafHabit | None:
        """What the counts of a species teach; None where it has none."""
        mine = [h for h in self._counted if h.tree.species == species]
        if not mine:
            return None
        requirement = self.fit.requirement(LEAFING)
        shares = requirement.clock_shares
        heat = [c for c, clock in enumerate(CLOCKS) if clock.kind == "sine"]
        c = max(heat, key=lambda k: float(shares[k]))
        share = shares[heat] / shares[heat].sum()
        counted = any(self.counts(h).final for h in mine)
        pace, number = self.phyllochron.of(species), self.leaves.of(species, final=counted)
        return LeafHabit(
            species,
            len(mine),
            sum(1 for h in mine if self.counts(h).growing),
            _interval(pace.mean[heat], pace.level[heat], share),
            _interval(number.mean[heat], number.level[heat], share),
            CLOCKS[c].base,
        )

    @cached_property
    def _counted(self) -> list[FlushHistory]:
        """Flushes whose counts say something and whose season the weather reaches."""
        with_text = {v.flush_id for v in self.fit.garden.looks if v.leaves}
        return [
            h
            for h in self.fit.histories
            if h.flush.id in with_text
            and self.counts(h) != FlushCounts()
            and h.flush.season in self.fit.garden.record_at(h.site).seasons
        ]

    @cached_property
    def _thermal_time(self) -> dict[tuple[object, int], SeasonThermalTime]:
        return self.fit.garden.thermal_time({(h.site, h.flush.season) for h in self._counted})

    def _prior_leaves(self, species: str) -> tuple[float, float]:
        known = self.fit.garden.species.get(species) or neutral_species(species)
        low, high = known.leaves
        middle = math.sqrt(low * high)
        return math.log(middle), math.hypot(math.log(high / low) / RANGE, ONE_LEAF / middle)

    def _prior_phyllochron(self, species: str) -> tuple[float, float]:
        days, _ = self.fit.prior(species, LEAFING)
        log_leaves, sd = self._prior_leaves(species)
        return math.log(days) - log_leaves, math.hypot(INTERVALS_SD, sd)

    def _pace_rows(self) -> Iterator[LeafRow]:
        for h in self._counted:
            begun, count = h.begun("budbreak"), self.counts(h).growing
            if begun is None or count is None:
                continue
            season = self._thermal_time[h.site, h.flush.season]
            middle = (begun[0] + begun[1]) / 2
            pace = _pace(
                count, season.thermal_time, season.gap_variance, middle, math.nan, begun[1] - begun[0]
            )
            yield LeafRow(*_names(h), False, pace.log_phyllochron, pace.variance)

    def _number_rows(self) -> Iterator[LeafRow]:
        """Final counts, and for flushes counted on the way how many leaves their pace led to."""
        for h in self._counted:
            counts, wait = self.counts(h), h.wait(LEAFING)
            if counts.final is not None:
                final = counts.final
                value = np.full(len(CLOCKS), math.log(final.leaves))
                yield LeafRow(*_names(h), True, value, np.full(len(CLOCKS), (final.sd / final.leaves) ** 2))
            if counts.growing is None or wait is None or wait.target[1] == NEVER:
                continue
            start, (after, by) = wait.anchor_middle, wait.target
            end = (max(after, start) + by) / 2
            if not start < counts.growing.day < end:
                continue
            season = self._thermal_time[h.site, h.flush.season]
            count, width = counts.growing, wait.anchor[1] - wait.anchor[0]
            pace = _pace(count, season.thermal_time, season.gap_variance, start, math.nan)
            at = season.thermal_time.at(np.array([start, count.day, end, max(after, start), by]))
            read, whole = np.maximum(at[:, 1] - at[:, 0], 0.25), np.maximum(at[:, 2] - at[:, 0], 0.25)
            # an earlier bud break lengthens both readings, so that the difference of their logs moves less
            began = (_rate(season.thermal_time, start) * width) ** 2 / 12 * (1 / read - 1 / whole) ** 2
            ended = ((at[:, 4] - at[:, 3]) / whole) ** 2 / 12
            yield LeafRow(
                *_names(h), False, np.log(whole) - pace.log_phyllochron, pace.variance + began + ended
            )


def _names(h: FlushHistory) -> tuple[str, str, int, str, bool]:
    return h.tree.species, h.tree.id, h.flush.season, h.flush.id, h.number > 1


def _pace(
    count: LeafCount,
    thermal_time: ThermalTime,
    gap_variance: Array,
    begun: float,
    usual: float,
    width: float = 0.0,
) -> Pace:
    """The pace since a time of bud break; `width` is that of its interval, where not integrated over."""
    read = thermal_time.at(count.day) - thermal_time.at(begun)
    days = np.arange(len(gap_variance))
    gap = float(np.diff(np.interp([begun, max(begun, count.day)], days, gap_variance))[0])
    vague = (_rate(thermal_time, count.day) * (count.latest - count.earliest)) ** 2 / 12
    began = (_rate(thermal_time, begun) * width) ** 2 / 12
    per_degree = np.array([clock.per_degree for clock in CLOCKS])
    late = 0.0 if math.isnan(usual) else begun - usual
    return pace_of(count.leaves, count.sd, read, vague + began + gap * per_degree**2, late)


def _rate(thermal_time: ThermalTime, t: float) -> Array:
    """Daily rate about a time; shape (clocks,)."""
    return (thermal_time.at(t + 2) - thermal_time.at(t - 2)) / 4


def _interval(mean: Array, variance: Array, share: Array) -> tuple[float, float, float]:
    """Median and 80 % interval on the likeliest clock, wider by how far the others read otherwise."""
    best = mean[np.argmax(share)]
    reach = 1.2816 * math.sqrt(float(share @ (variance + (mean - best) ** 2)))
    return math.exp(best), math.exp(best - reach), math.exp(best + reach)
