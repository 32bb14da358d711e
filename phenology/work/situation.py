"""What a choice of technique looks at: the tree or zone, its flush, and what was done to it this season."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NamedTuple

from phenology.model.stages import stage_rank
from phenology.species.species import Species
from phenology.work.zones import Vigour


class Done(NamedTuple):
    """Work done before."""

    operation: str
    days_ago: int
    seasons_ago: int = 0  # 0 for the season under way
    this_flush: bool = False  # whether it was done on the flush that is asked about


@dataclass(frozen=True, eq=False, repr=False)
class Situation:
    """A tree, or a zone of it, whose next work is to be chosen."""

    species: Species
    flush: int = 1  # number of the flush in its season, 1 for the first
    stage: str | None = None  # latest stage seen of it; None where nobody looked
    zone: str = "outer"  # "outer", "inside" or "low"
    vigour: Vigour = field(default_factory=Vigour)
    aim: str = "refining"  # "refining", "building" or "resting"
    done: tuple[Done, ...] = ()
    repotted: bool = False  # whether the tree was repotted this season
    # how late it is for growth woken now, see `phenology.work.grades`; None where nobody knows
    grade: str | None = None
    guess: bool = False  # whether that rests on the catalogue alone, in the first half of the growing season
    flowers: str | None = None  # "flowering" or "faded"; None where nobody said
    buds_set: bool = False  # whether next year's flower buds are taken to be set
    nights_warm: bool | None = None
    grown_for: str | None = None  # leaf, flower or fruit, where the tree differs from its species
    checked: bool = False  # whether growth was checked by heat, drought or tight roots

    @property
    def too_late(self) -> bool:
        """Whether growth should not be woken any more; a guess closes nothing early in the season."""
        return self.grade in ("risky", "too late", "rests") and not self.guess

    @property
    def next_season(self) -> Situation:
        """The tree at the hard first flush of the season after: what was done is a season ago by then."""
        done = tuple(Done(d.operation, d.days_ago, d.seasons_ago + 1) for d in self.done)
        own = Situation(self.species, 1, "hardened", self.zone, self.vigour, self.aim, done)
        return replace(own, nights_warm=self.nights_warm, grown_for=self.grown_for)

    def reached(self, rank: int) -> bool:
        """Whether the flush was seen at a stage or beyond it."""
        return self.stage is not None and stage_rank(self.stage) >= rank

    def last(self, *operations: str) -> int | None:
        """Days since work of these kinds this season; None where there was none."""
        return min(
            (d.days_ago for d in self.done if d.operation in operations and not d.seasons_ago), default=None
        )
