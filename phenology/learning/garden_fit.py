"""Requirements of a whole garden, fitted as they are asked for."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, partial
from typing import TYPE_CHECKING, cast

import numpy as np

from phenology.garden import Garden
from phenology.heat.clocks import CLOCKS
from phenology.learning.flush_history import WORK_REACH, FlushHistory, histories
from phenology.learning.requirement import Requirement, RequirementModel
from phenology.learning.resting import Resting, cuts_of, rested
from phenology.learning.transitions import Transition, prior_of_transition
from phenology.learning.waits import Wait
from phenology.model.arrays import Array
from phenology.model.records import Tree
from phenology.model.season import NEVER
from phenology.species.catalogue import Species, neutral_species

if TYPE_CHECKING:
    from phenology.learning.club import Club


def _prior(known: Mapping[str, Species], transition: Transition, species: str) -> tuple[float, float]:
    return prior_of_transition(known.get(species) or neutral_species(species), transition)


FEWEST_FLUSHES = 2  # before which nothing is said of a tree's habit (ours)


def requirement_model(
    transition: Transition,
    prior_of: Callable[[str], tuple[float, float]],
    longest_day: float | None,
    club: Club | None = None,
) -> RequirementModel:
    """What is believed of a transition before any records speak.

    Parameters
    ----------
    transition : Transition
    prior_of : callable
        See `RequirementModel`.
    longest_day : float or None
        Day of the season on which days are longest; None where they hardly differ, or nobody says where.
    club : Club, optional
        What other gardens teach of it.
    """
    factors = np.ones(len(CLOCKS)) if club is None else club.clock_factors

    def leaning(day: float) -> Array:
        assert longest_day is not None
        return np.asarray(factors * transition.clock_weights_at(day - longest_day))

    return RequirementModel(
        prior_of,
        clock_weights=[float(v) for v in factors * transition.clock_weights],
        leaning=leaning if transition.leans and longest_day is not None else None,
        club=club,
    )


@dataclass(frozen=True)
class Stride:
    """A wait over several steps, and how far it is believed against them, above 0 to 1."""

    wait: Transition
    weight: float


@dataclass(frozen=True)
class Link:
    """One wait of a chain, with the longer waits that end where it does, the shortest first."""

    wait: Transition
    strides: tuple[Stride, ...] = ()


@dataclass(eq=False, repr=False)
class GardenFit:
    """What a garden's records teach, one requirement a transition, fitted when first needed.

    Parameters
    ----------
    garden : Garden
    """

    garden: Garden
    histories: list[FlushHistory] = field(init=False)
    _waits: dict[Transition, list[Wait]] = field(init=False, default_factory=dict)
    _runs_on: dict[str, bool] = field(init=False, default_factory=dict)
    _seen: dict[Transition, dict[str, set[int]]] = field(init=False, default_factory=dict)
    _shares: dict[tuple[str, Transition], float] = field(init=False, default_factory=dict)
    _fits: dict[Transition, Requirement] = field(init=False, default_factory=dict)
    _chains: dict[tuple[str, str], list[Link]] = field(init=False, default_factory=dict)
    _weights: dict[tuple[str, Transition], float] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self.histories = histories(self.garden)

    def prior(self, species: str, transition: Transition) -> tuple[float, float]:
        """The catalogue's prior for a species and wait; see `prior_of_transition`."""
        return _prior(self.garden.species, transition, species)

    def waits(self, transition: Transition) -> list[Wait]:
        """The waits on record that the weather reaches.

        Trees whose shoots run on teach nothing of when shoots stop, nor of what follows on that.
        """
        if transition not in self._waits:
            histories = self.histories
            if "extended" in (transition.start, transition.target):
                histories = [h for h in histories if not self.runs_on(h.tree)]
            if transition.start == "work":  # buds at rest say nothing of how long others take
                histories = [h for h in histories if not rested(self.garden, h)]
            self._waits[transition] = list(self._waits_of(histories, transition))
        return self._waits[transition]

    def _waits_of(self, histories: list[FlushHistory], transition: Transition) -> Iterator[Wait]:
        measured = cache(lambda site: frozenset(self.garden.record_at(site).seasons))
        for h in histories:
            wait = h.wait(transition)
            if wait is None or wait.season not in measured(wait.site):
                continue
            if h.by_work and transition.target == "hardened":
                # it got hard no longer before that work than the grower usually lets pass
                after, by = wait.target
                wait = wait._replace(target=(max(after, by - min(2 * self._delay, WORK_REACH)), by))
            yield wait

    @cached_property
    def _delay(self) -> float:
        from phenology.learning.work_habit import mean_delay

        return mean_delay(self.histories)

    def model(self, transition: Transition) -> RequirementModel:
        """What is believed of a transition before the records speak."""
        prior_of = partial(_prior, self.garden.species, transition)
        return requirement_model(transition, prior_of, self.garden.longest_day, self.club(transition))

    def club(self, transition: Transition) -> Club | None:
        """What other gardens teach of a transition; None where they say nothing of it."""
        steps = [
            (one, step)
            for one in self.garden.shared
            for step in one.steps
            if (step.start, step.target) == (transition.start, transition.target)
        ]
        if not steps:
            return None
        from phenology.learning.club import Club

        return Club(
            steps,
            self.garden.climate,
            partial(_prior, self.garden.species, transition),
            all_later=transition.start == "work",
        )

    def requirement(self, transition: Transition) -> Requirement:
        """The requirement of a transition; that of a garden with other records stands where its waits do."""
        if transition not in self._fits:
            waits, garden, key = self.waits(transition), self.garden, ("requirement", transition)
            kept = cast(tuple[object, Requirement] | None, garden.worked_out.get(key))
            if kept is None or kept[0] != garden.surroundings or kept[1].waits != tuple(waits):
                thermal_time = garden.thermal_time({(w.site, w.season) for w in waits})
                kept = garden.surroundings, self.model(transition).fit(waits, thermal_time)
                garden.worked_out[key] = kept
            self._fits[transition] = kept[1]
        return self._fits[transition]

    def prior_share(self, species: str, transition: Transition) -> float:
        """See `Requirement.prior_share`; reckoned once a species."""
        key = (species, transition)
        if key not in self._shares:
            self._shares[key] = self.requirement(transition).prior_share(species)
        return self._shares[key]

    def rests(self, species: str, day: float) -> float:
        """The chance that buds of a species cut on a day of the season stay shut until spring."""
        known = self.garden.species.get(species)
        return 0.0 if known is not None and known.is_tropical else self._resting.chance(day)

    @cached_property
    def _resting(self) -> Resting:
        return Resting.learned(self.garden.longest_day, [*cuts_of(self.garden, self.histories)])

    def chain(self, tree: Tree, start: str) -> list[Link]:
        """The waits of a tree's flush from a stage on, each with the longer waits that bear on its end.

        Leaves of a tree whose shoots run on harden all the same: counted from bud break.
        """
        links = self.chain_of(tree.species, start)
        if start == "extended" or not self.runs_on(tree):
            return links
        return [*links[:-1], replace(links[-1], wait=Transition("budbreak", "hardened"))]

    def chain_of(self, species: str, start: str) -> list[Link]:
        """The same for any tree of a species."""
        if (species, start) in self._chains:
            return self._chains[species, start]
        links, stages = [], [start]
        for step in Transition(start, "hardened").links():
            longer = [Transition(stage, step.target) for stage in reversed(stages[:-1])]
            strides = [Stride(whole, weight) for whole in longer if (weight := self.weight(species, whole))]
            links.append(Link(step, tuple(strides)))
            stages.append(step.target)
        self._chains[species, start] = links
        return links

    def weight(self, species: str, whole: Transition) -> float:
        """How far a longer wait is believed against the steps that make it up, 0 to 1.

        The share of its seasons of which the steps know nothing (ours): where looks tell the steps, the whole
        adds nothing to them; of hardening dates alone it is all that is known.
        """
        key = (species, whole)
        if key not in self._weights:
            own, steps = self.seasons_known(species, whole), self._seasons_by_steps(species, whole)
            self._weights[key] = 1 - steps / own if own > steps else 0.0
        return self._weights[key]

    def _seasons_by_steps(self, species: str, whole: Transition) -> int:
        """Seasons from which the parts of a longer wait are known, where they are known best."""
        return max(
            min(
                self.seasons_known(species, Transition(whole.start, step.start)),
                self.seasons_known(species, Transition(step.start, whole.target)),
            )
            for step in whole.links()[1:]
        )

    def seasons_known(self, species: str, wait: Transition) -> int:
        """Seasons from which a wait is known, at one stride or by its parts."""
        steps = self._seasons_by_steps(species, wait) if len(wait.links()) > 1 else 0
        if steps >= len(self._ended[wait.target, wait.start == "work"][species]):
            return steps  # no wait of its own needs to be worked out to know that it tells no more
        return max(steps, len(self.seasons_seen(species, wait)))

    @cached_property
    def _ended(self) -> dict[tuple[str, bool], dict[str, set[int]]]:
        """By stage, of all flushes or of those that work woke, and species: the seasons in which it came."""
        found: dict[tuple[str, bool], dict[str, set[int]]] = defaultdict(lambda: defaultdict(set))
        for h in self.histories:
            for stage, (_, by) in h.came.items():
                if by != NEVER:
                    for woken in (False, True)[: 1 + (h.woken is not None)]:
                        found[stage, woken][h.tree.species].add(h.flush.season)
        return found

    def runs_on(self, tree: Tree) -> bool:
        """Whether, in two flushes or more, a tree's shoots were never seen to stop before leaves were hard.

        Shoots of free growers may run on all season; the leaves that stay harden all the same.
        """
        if not self._runs_on:
            stopping: dict[str, list[bool]] = {t.id: [] for t in self.garden.trees}
            for h in self.histories:
                if h.seen_to_stop is not None:
                    stopping[h.tree.id].append(h.seen_to_stop)
            for one in self.garden.trees:
                stopped = stopping[one.id]
                free = self.garden.species_of(one).growth == "free"
                self._runs_on[one.id] = free and len(stopped) >= FEWEST_FLUSHES and not any(stopped)
        return self._runs_on[tree.id]

    def seasons_seen(self, species: str, transition: Transition) -> set[int]:
        """Seasons in which a look (or what work shows) tells a wait's end from its beginning.

        A step that had ended by the first look at all says next to nothing of how long it took.
        """
        if transition not in self._seen:
            found: dict[str, set[int]] = {}
            for w in self.waits(transition):
                told_apart = w.target[0] >= w.anchor[1] and w.target[0] > w.anchor[0]
                if w.target[1] != NEVER and told_apart:
                    found.setdefault(w.species, set()).add(w.season)
            self._seen[transition] = found
        return self._seen[transition].get(species, set())
