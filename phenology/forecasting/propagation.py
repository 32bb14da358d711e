"""Stages as a chain of positive waits, propagated over possible seasons: the one forecaster of this project.

`propagate` takes what is known of flushes on a day and gives the arrival of every stage that may still come.
Forecasts, hindcasts, past skill, the odds that a cut ripens and the last safe date all call it. Chains go
through step by step together: each asks for the curves of its next wait (it yields a `Waiting`), and those of
all are reckoned at once.

Curves are sub-distributions, one a trace: their mean over the traces is the distribution, so that a trace
which the looks make unlikely weighs less. Stages cannot cross, since every wait begins where the last ended.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Generator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeVar

import numpy as np

from phenology.forecasting.longer_waits import Move, bent, moments
from phenology.forecasting.wait_curves import Waiting, Weather, wait_curves
from phenology.heat.clocks import CLOCKS, Clock, ThermalTime
from phenology.learning.garden_fit import Link
from phenology.learning.prediction import Prediction
from phenology.learning.transitions import Transition
from phenology.model.arrays import Array
from phenology.records.intervals import likely_times

# Times that stand for a stage's whole distribution on one trace: the five Gauss-Hermite nodes, as levels of
# the curve, with their weights (a test holds them against numpy). They keep the spread of a normal stage
# exactly, where five equally likely times would lose a quarter of its variance.
NODE_LEVELS = np.array([0.0021389, 0.0876091, 0.5, 0.9123909, 0.9978611])
NODE_WEIGHTS = np.array([0.0112574, 0.2220759, 0.5333333, 0.2220759, 0.0112574])
NODE_WEIGHTS = NODE_WEIGHTS / NODE_WEIGHTS.sum()
EVEN_LEVELS = (np.arange(5) + 0.5) / 5  # levels of equally likely times
MISJUDGED = 0.01  # share of looks that misjudge a stage, ours
LEAST_DAYS = 1e-3  # an interval is no shorter [days]
SURPRISED = 0.05  # share of stages that come at some time the curves know nothing of, ours

UNSEEN = (-math.inf, math.inf)
"""What looks say of a stage that none has told of."""

Paced = Callable[[Prediction, Sequence[float]], Sequence[tuple[float, float, Prediction]]]
"""What leaf counts make of a wait: from equally likely beginnings, (share, beginning, prediction) of each."""


Requires = Callable[[float], Prediction]
"""The requirement of a wait, given the day on which it probably begins."""


class Whole(NamedTuple):
    """A wait over several steps of a chain, learned where looks did not tell the steps apart."""

    start: str  # the chain's beginning, or the stage in it, from which it runs
    predict: Requires  # its requirement
    weight: float  # how far it is believed against the steps, above 0 to 1 (the steps add nothing)


@dataclass(frozen=True, eq=False, repr=False)
class Step:
    """One wait of a chain."""

    transition: Transition  # from the chain's beginning, or from a stage that comes before in it, to this one
    predict: Requires  # its requirement
    # between which looks the stage came: (-inf, inf) without looks, (t, inf) when it had not come at t
    seen: tuple[float, float] = UNSEEN
    paced: Paced | None = None  # see `Paced`; None where no leaves were counted
    wholes: tuple[Whole, ...] = ()  # longer waits that end with this stage, the shortest first
    rests: float = 0.0  # chance that the wait never ends: buds that stay shut until spring


def link_step(
    link: Link,
    requires: Callable[[Transition], Requires],
    seen: tuple[float, float] = UNSEEN,
    paced: Paced | None = None,
    rests: float = 0.0,
) -> Step:
    """The step of a learned chain, with the longer waits that bear on it."""
    wholes = tuple(Whole(s.wait.start, requires(s.wait), s.weight) for s in link.strides)
    return Step(link.wait, requires(link.wait), seen, paced, wholes, rests)


class Chain(NamedTuple):
    """What is known of one flush."""

    begun: tuple[float, float]  # interval in which its chain of waits began. [day of season]
    steps: Sequence[Step]  # the waits, in order


def propagate(
    chains: Sequence[Chain],
    thermal_time: ThermalTime,
    gap_variance: Array | None = None,
    *,
    clocks: Sequence[Clock] = CLOCKS,
) -> list[list[Array]]:
    """Arrival of every stage of some chains over the same possible seasons, given what is known.

    Parameters
    ----------
    chains : sequence of Chain
    thermal_time : ThermalTime
        The clocks over the possible seasons, sums of shape (traces, clocks, days + 1), or
        (clocks, days + 1) for a season whose weather is known.
    gap_variance : ndarray, shape (days + 1,), optional
        Running variance of the temperature sum from filled days. [degC^2 d]
    clocks : sequence of Clock
        The clocks that the sums belong to.

    Returns
    -------
    list of list of ndarray, shape (traces, days + 1)
        For each chain and step, the chance that its stage has come by the end of each day, trace by trace.
    """
    gap = np.zeros(thermal_time.days + 1) if gap_variance is None else gap_variance
    weather = Weather(thermal_time, gap, clocks)
    found: dict[int, list[Array]] = {}
    going = {k: _run(chain, weather.traces) for k, chain in enumerate(chains)}
    answers: dict[int, Array | None] = dict.fromkeys(going)
    while going:
        asked: dict[int, Waiting] = {}
        for k, answer in answers.items():
            try:
                asked[k] = going[k].send(answer)  # type: ignore[arg-type]  # the first is sent nothing
            except StopIteration as end:
                found[k] = end.value
                del going[k]
        answers = dict(zip(asked, wait_curves(list(asked.values()), weather), strict=True))
    return [found[k] for k in range(len(chains))]


T = TypeVar("T")
Asking = Generator[Waiting, Array, T]
"""What asks for the curves of waits, one after another."""


def _run(chain: Chain, traces: int) -> Asking[list[Array]]:
    """The arrival of every stage of one chain."""
    curves: dict[str, Array] = {}
    moves: dict[str, Move] = {}
    for step in chain.steps:
        move = yield from _pass(step, chain, curves, traces)
        if move is not None:
            moves[step.transition.target] = move
    if moves:
        yield from _smooth(chain.steps, curves, moves)
    return list(curves.values())


def _pass(step: Step, chain: Chain, curves: dict[str, Array], traces: int) -> Asking[Move | None]:
    """Add the curves of a step's stage; where longer waits bear on it, what they moved."""
    stage, (after, by), steps = step.transition.target, step.seen, chain.steps
    freely = curve = yield from _unconditional(step, chain.begun, curves, traces)
    shown = _shown(steps)
    for whole in () if stage in shown else step.wholes:
        over, alone = yield from _two_ways(whole, step, chain, curves, curve, traces)
        curve = bent(curve, over, alone, whole.weight)
        curve = _not_before(shown, curves, curve)
    move = None if curve is freely else Move.between(freely, curve)
    if math.isfinite(by):
        curve = within(curve, after, by)
    elif math.isfinite(after):
        curve = not_by(curve, after)
    curves[stage] = curve
    return move


def _two_ways(
    whole: Whole, step: Step, chain: Chain, curves: Mapping[str, Array], so_far: Array, traces: int
) -> Asking[tuple[Array, Array]]:
    """The curves of a stage by a longer wait, and by its steps, whatever looks say of the stages between."""
    steps, begun = chain.steps, chain.begun
    rests = steps[0].rests if whole.start == steps[0].transition.start else 0.0
    longer = Step(Transition(whole.start, step.transition.target), whole.predict, rests=rests)
    over = yield from _unconditional(longer, begun, curves, traces)
    stages = [s.transition.target for s in steps]
    first = stages.index(whole.start) + 1 if whole.start in stages else 0
    inner = steps[first : stages.index(step.transition.target) + 1]
    if not any(math.isfinite(t) for s in inner[:-1] for t in s.seen) and step.paced is None:
        return over, so_far
    blind = {whole.start: curves[whole.start]} if whole.start in curves else {}
    between = [s.transition.target for s in inner]
    unlooked = [
        replace(s, seen=UNSEEN, paced=None, wholes=tuple(w for w in s.wholes if w.start in between))
        for s in inner
    ]
    for one in unlooked:
        yield from _pass(one, Chain(begun, unlooked), blind, traces)
    return over, blind[step.transition.target]


def _smooth(steps: Sequence[Step], curves: dict[str, Array], moves: dict[str, Move]) -> Asking[None]:
    """Let what longer waits say of a stage move the stages before it that nobody has seen."""
    for step in reversed(steps):
        stage, before = step.transition.target, step.transition.start
        move = moves.get(stage)
        if move is None or before not in curves:
            continue
        earlier = next(s for s in steps if s.transition.target == before)
        if math.isfinite(earlier.seen[1]):
            continue
        came = curves[before]
        ends = _times_at(came, NODE_LEVELS[[1, 3]])
        later = []
        for end in ends.T:
            curve = yield Waiting(step.predict(_middle(came)), end[None], np.ones(1))
            later.append(moments(curve)[0])
        slope = np.clip((later[1] - later[0]) / np.maximum(ends[:, 1] - ends[:, 0], 0.1), 0.0, 1.0)
        back = move.carried_back(came, slope)
        moves[before] = moves[before].then(back) if before in moves else back
        moved = _not_before(_shown(steps), curves, back.applied(came, earlier.seen[0]))
        curves[before] = np.maximum(moved, curves[stage])


def _shown(steps: Sequence[Step]) -> list[str]:
    return [one.transition.target for one in steps if math.isfinite(one.seen[1])]


def _not_before(shown: Sequence[str], curves: Mapping[str, Array], curve: Array) -> Array:
    """Nothing comes before what looks have shown."""
    for stage in shown:
        curve = np.minimum(curve, curves.get(stage, curve))
    return curve


def _unconditional(
    step: Step, begun: tuple[float, float], curves: Mapping[str, Array], traces: int
) -> Asking[Array]:
    """The curves of a stage before anything that looks say of the stage itself."""
    before = curves.get(step.transition.start)
    # a wait that begins at an uncertain time is judged at its likely middle for lateness
    prediction = step.predict((begun[0] + begun[1]) / 2 if before is None else _middle(before))
    if step.paced is not None:
        # leaves were counted since: the wait began in the past, on which all traces agree
        times = (
            likely_times(begun) if before is None else tuple(_times_at(before.mean(0)[None], EVEN_LEVELS)[0])
        )
        paced = []
        for share, time, after in step.paced(prediction, times):
            paced.append(share * (yield _beginning(after, (time,), traces)))
        return np.asarray(np.sum(paced, axis=0))
    if before is None:
        times = begun[:1] if begun[0] == begun[1] else likely_times(begun)
        curve = yield _beginning(prediction, times, traces)
        return np.asarray((1 - step.rests) * curve)
    nodes = _times_at(before, NODE_LEVELS)
    # the few nodes may run a little ahead of the curve they stand for: nothing ends before it began
    curve = yield Waiting(prediction, nodes.T, NODE_WEIGHTS)
    return np.minimum(before, before[:, -1:] * curve)


def _beginning(prediction: Prediction, begun: Sequence[float], traces: int) -> Waiting:
    """A wait that began at one of a few equally likely times."""
    nodes = np.broadcast_to(np.asarray(begun, dtype=float)[:, None], (len(begun), traces))
    return Waiting(prediction, nodes, np.full(len(begun), 1 / len(begun)))


def not_by(curves: Array, t: float) -> Array:
    """Curves after a look at `t` that showed the stage had not come.

    Each trace is weighted by how likely it makes that look, then the past is cut away. A look misjudges
    with chance `MISJUDGED`; a stage that had come all the same is due at once, so a look that contradicts
    every draw moves the forecast without breaking it.
    """
    if t < 0:
        return curves
    days = np.arange(curves.shape[1])
    at = reached_by(curves, t)[:, None]
    come, never = float(at.mean()), 1.0 - float(curves[:, -1].mean())
    future = np.where(days > t, np.maximum(curves - at, 0.0), 0.0)
    missed = at * np.clip(days - t, 0.0, 1.0)
    likelihood = (1 - MISJUDGED) * (float(future[:, -1].mean()) + never) + MISJUDGED * come
    return np.asarray(((1 - MISJUDGED) * future + MISJUDGED * missed) / likelihood)


def within(curves: Array, after: float, by: float) -> Array:
    """Curves after looks that showed the stage come in (after, by].

    Traces are weighted by how likely they make that, and the time within the interval follows the curves
    rather than being anywhere in it alike. A share `SURPRISED` of what is believed beforehand is spread over
    the whole season, so that an interval which the curves hardly allow is simply taken as it is.
    """
    days = np.arange(curves.shape[1])
    by = min(by, float(days[-1]))
    after = min(max(after, 0.0), by - LEAST_DAYS)  # looks beyond the last day leave that day
    first, last = reached_by(curves, after)[:, None], reached_by(curves, by)[:, None]
    inside = np.clip(curves, first, last) - first
    inside[:, days <= after] = 0.0
    alike = np.clip((days - after) / (by - after), 0.0, 1.0)
    believed = (1 - SURPRISED) * inside + SURPRISED * (by - after) / days[-1] * alike
    return np.asarray(believed / believed[:, -1].mean())


def reached_by(curves: Array, t: float | Array) -> Array:
    """What each curve has come to by a time, or by a time of its own; held at the two ends."""
    where = np.clip(np.broadcast_to(t, len(curves)), 0, curves.shape[1] - 1)
    low = np.minimum(where.astype(np.intp), curves.shape[1] - 2)
    trace, part = np.arange(len(curves)), where - low
    return np.asarray(curves[trace, low] * (1 - part) + curves[trace, low + 1] * part)


def _times_at(curves: Array, levels: Array) -> Array:
    """Times at which curves reach shares of what they come to, shape (traces, levels).

    Past its end where a curve comes to nothing.
    """
    last = curves.shape[1] - 1
    rising = curves + np.arange(last + 1) * 1e-12
    wanted = levels * curves[:, -1:]
    # end to end, each trace above the one before, the curves of all are one that is looked through at once
    trace = np.arange(len(curves))[:, None]
    lift = trace * (rising[:, -1].max() + 1.0)
    found = np.searchsorted((rising + lift).ravel(), (wanted + lift).ravel()).reshape(wanted.shape)
    high = found - trace * (last + 1)
    above = np.clip(high, 1, last)
    below = rising[trace, above - 1]
    part = (wanted - below) / (rising[trace, above] - below)
    times = np.where(high == 0, 0.0, above - 1 + part)
    return np.asarray(np.where(curves[:, -1:] > 0, times, last + 1.0))


def _middle(curves: Array) -> float:
    """The likely middle of a stage's arrival."""
    mean = curves.mean(0)
    return float(np.interp(0.5 * mean[-1], mean, np.arange(len(mean))))
