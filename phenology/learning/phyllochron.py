"""The phyllochron (thermal time a leaf): learned from leaf counts, and what a count tells of a flush.

On clock c, with H the heat since bud break and n the leaves counted, log H / n is the log phyllochron of the
flush, and y = log phyllochron + log N its requirement for `extended`, N being the leaves to extended. The
phyllochron and N are taken to be independent of each other, so N and y are not: see `with_counts`.

Everything is Gaussian on the log scale but for `MISCOUNTED`. Structure and priors are ours; the parts are
standard (normal regression with known variances, partial pooling, a mixture against outliers).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from phenology.heat.clocks import Clock
from phenology.learning.effects import EffectsPosterior, Rows, Weighed, log_evidences, posterior
from phenology.learning.leaf_counts import FEWEST, MOST
from phenology.learning.prediction import Prediction
from phenology.learning.waits import LEAST_WAIT
from phenology.model.arrays import Array

MISCOUNTED = 0.02  # share of counts that are slips, or of shoots unlike the flush
MISCOUNT_SD = 0.7  # how far such counts lie where the past is learned from, on the log scale
SLIP_DENSITY = 1 / math.log(MOST / FEWEST)  # in a flush under way any number is as likely, on the log scale
# Between flushes of one tree, as a few standard deviations with weights.
FLUSHES = ((0.05, 0.25), (0.09, 0.35), (0.14, 0.25), (0.22, 0.15))
COMMON_SD = 0.15  # what all species of a garden share: how their grower counts
LATER_SD = 0.15  # a later flush against the first
TREE_SD = 0.06
PACE_SEASON_SD, NUMBER_SEASON_SD = 0.10, 0.05  # what the flushes of one season share
FINAL_SD = 0.15  # the final count against what the pace leads to: how the first and last leaf count
MOST_BY_LEAVES = 0.5  # of a flush's own variance, at most so much is put down to its number of leaves
LEAST_SHARE = 1e-6  # draws of less weight are dropped

PriorOf = Callable[[str], tuple[float, float]]


@dataclass(frozen=True)
class LeafRow:
    """What one count says of a flush, clock by clock, on the log scale."""

    species: str
    tree: str
    season: int
    flush: str  # name of the flush; rows of one flush share how it differs from others
    later: bool
    final: bool  # whether it is the number of leaves at the end rather than the pace that says it
    value: Array  # shape (clocks,)
    variance: Array


@dataclass(frozen=True)
class Belief:
    """A quantity of a tree's next flush, clock by clock, on the log scale."""

    mean: Array  # shape (clocks,), as the next two
    level: Array  # variance of that mean
    between: Array  # variance between flushes, seasons included


@dataclass(frozen=True)
class Learned:
    """Posterior of a leaf quantity, log N or the log phyllochron, on every clock; see `learn`."""

    prior_of: PriorOf
    clocks: int
    season_sd: float
    species: tuple[str, ...]
    trees: tuple[str, ...]
    seasons: tuple[int, ...]
    fits: tuple[tuple[tuple[float, float, EffectsPosterior], ...], ...]

    def of(
        self, species: str, tree: str | None = None, later: bool = False, *, final: bool = False
    ) -> Belief:
        """What is believed of a flush; `tree` None stands for an average tree, `final` for its last count."""
        mean, sd = self.prior_of(species)
        row = self._row(species, tree, later, final)
        season = self.season_sd**2
        own = 0.0 if species in self.species else sd**2
        own += 0.0 if tree is None or tree in self.trees else TREE_SD**2
        out = []
        for fits in self.fits:
            parts = [(w, s, float(f.mean_at(row)), float(f.variance_at(row))) for w, s, f in fits]
            middle = sum(w * m for w, _, m, _ in parts)
            level = sum(w * (v + (m - middle) ** 2) for w, _, m, v in parts)
            out.append((mean + middle, level + own, season + sum(w * s**2 for w, s, _, _ in parts)))
        if not out:  # nothing counted yet
            level = COMMON_SD**2 + sd**2 + (0.0 if tree is None else TREE_SD**2)
            level += later * LATER_SD**2 + final * FINAL_SD**2
            out = [(mean, level, season + sum(w * s**2 for s, w in FLUSHES))] * self.clocks
        table = np.array(out)
        return Belief(table[:, 0], table[:, 1], table[:, 2])

    def _row(
        self, species: str, tree: str | None, later: bool, final: bool, season: int | None = None
    ) -> Array:
        """Columns: common, later flush, final count, species, trees, seasons."""
        marks = [
            *(s == species for s in self.species),
            *(t == tree for t in self.trees),
            *(s == season for s in self.seasons),
        ]
        return np.array([1.0, float(later), float(final), *map(float, marks)])


def learn(rows: Sequence[LeafRow], prior_of: PriorOf, clocks: int, season_sd: float) -> Learned:
    """Learn from counts how many leaves a species takes, or how long a leaf takes, on each clock.

    log value = prior mean of the species + common + species + tree + season + later flush
    + (final count against pace) + flush + count error, every effect normal about 0. The spread between
    flushes is integrated over a grid; given it, the answer is exact. Rows that lie far out count for less, as
    `MISCOUNTED` says.

    Parameters
    ----------
    prior_of : callable
        Gives a species' prior mean and standard deviation on the log scale.
    season_sd : float
        Standard deviation between seasons.

    Returns
    -------
    Learned
        Without rows, the prior.
    """
    if not rows:
        return Learned(prior_of, clocks, season_sd, (), (), (), ())
    species = tuple(dict.fromkeys(r.species for r in rows))
    trees = tuple(dict.fromkeys(r.tree for r in rows))
    seasons = tuple(dict.fromkeys(r.season for r in rows))
    empty = Learned(prior_of, clocks, season_sd, species, trees, seasons, ())
    names = list(dict.fromkeys(r.flush for r in rows))
    flush = np.array([names.index(r.flush) for r in rows], dtype=np.intp)
    design = np.array([empty._row(r.species, r.tree, r.later, r.final, r.season) for r in rows])
    answers = Rows.plain(design, flush, len(names))
    offset = np.array([prior_of(r.species)[0] for r in rows])
    own = [prior_of(s)[1] ** 2 for s in species]
    prior = np.array(
        [
            COMMON_SD**2,
            LATER_SD**2,
            FINAL_SD**2,
            *own,
            *(TREE_SD**2 for _ in trees),
            *(season_sd**2 for _ in seasons),
        ]
    )
    fits = []
    for c in range(clocks):
        y = np.array([r.value[c] for r in rows]) - offset
        variance = np.array([r.variance[c] for r in rows])
        noise = _less_of_outliers(y, variance, answers, prior)
        data = Weighed.of(answers, y, noise)
        log_share = np.array([math.log(w) + log_evidences(data, prior[None], sd**2)[0] for sd, w in FLUSHES])
        share = np.exp(log_share - log_share.max())
        share /= share.sum()
        fits.append(
            tuple(
                (float(w), sd, posterior(data, prior, sd**2))
                for w, (sd, _) in zip(share, FLUSHES, strict=True)
            )
        )
    return replace(empty, fits=tuple(fits))


def _less_of_outliers(y: Array, variance: Array, rows: Rows, prior: Array) -> Array:
    """Variances of the rows, wider where one is likelier a slip (expectation-maximisation, three rounds)."""
    noise, usual = variance, FLUSHES[1][0] ** 2
    for _ in range(3):
        fitted = posterior(Weighed.of(rows, y, noise), prior, usual)
        spread = fitted.variance_at(rows.local) + usual
        off = y - fitted.mean_at(rows.local)
        good = (1 - MISCOUNTED) * _normal(off, variance + spread)
        slip = MISCOUNTED * _normal(off, variance + spread + MISCOUNT_SD**2)
        sure = good / (good + slip)
        noise = 1 / (sure / variance + (1 - sure) / (variance + MISCOUNT_SD**2))
    return noise


@dataclass(frozen=True)
class Pace:
    """The pace of a flush under way, as its last count tells it."""

    # log of heat since bud break over leaves counted. [log days at 18 degC a leaf]; shape (clocks,)
    log_phyllochron: Array
    variance: Array  # from the count and from its date; shape (clocks,)
    # how much later than usual the wait began, for clocks that run from the usual date. [days]
    late: float = 0.0


def pace_of(leaves: float, sd: float, read: Array, read_variance: Array, late: float = 0.0) -> Pace:
    """The pace that a count tells.

    Parameters
    ----------
    leaves, sd : float
        Mean count, and its standard deviation.
    read, read_variance : ndarray, shape (clocks,)
        Heat since bud break, and its variance. [days at 18 degC]
    late : float
        See `Pace`.
    """
    read = np.maximum(read, LEAST_WAIT)
    return Pace(np.log(read / leaves), (sd / leaves) ** 2 + read_variance / read**2, late)


def with_counts(
    prediction: Prediction,
    pace: Pace | None,
    leaves: Belief,
    clocks: Sequence[Clock],
    prior_share: float = 1.0,
) -> tuple[Prediction, float]:
    r"""A requirement after leaves were counted, and how likely it had made the count.

    A draw says y ~ N(m, v); log N ~ N(a, t), t = level + between. The count says that
    log phyllochron = y - log N with variance s, so with k = Cov(y, log N)

    .. math:: g = (v - k) / (v + t - 2k + s), \quad m' = m + g (L - m + a), \quad v' = v - g (v - k)

    and the draw's weight is multiplied by N(L; m - a, v + t - 2k + s). A flush of more leaves takes
    longer: k = between + prior_share x level, since what is not known of the species' N is also
    in y until seasons of the species have made its mean known; at most `MOST_BY_LEAVES` of v. A count is
    a slip with chance `MISCOUNTED`: any number is then as likely, and it tells nothing. With no count nothing
    changes.

    Parameters
    ----------
    prediction : Prediction
        Draws of the requirement from bud break to extended.
    leaves : Belief
        What is believed of log N.
    clocks : sequence of Clock
        That the draws name.
    prior_share : float
        Share of the catalogue in the requirement's mean, 1 to 0.

    Returns
    -------
    float
        Density of the log count under the prediction; 1 with no count.

    Examples
    --------
    >>> from phenology.heat.clocks import DAYS_CLOCK
    >>> prior = Prediction(np.ones(1), np.zeros(1, dtype=np.intp), np.log([30.0]), np.array([0.04]))
    >>> six = Belief(np.log([6.0]), np.array([0.0]), np.array([0.01]))
    >>> four_in_ten_days = pace_of(4.0, 0.5, np.array([10.0]), np.zeros(1))
    >>> after, _ = with_counts(prior, four_in_ten_days, six, (DAYS_CLOCK,))
    >>> float(np.exp(after.mean[0]).round(1)), float(np.sqrt(after.variance[0]).round(2))
    (19.0, 0.14)
    """
    if pace is None:
        return prediction, 1.0
    c = prediction.clock
    from_usual = np.array([clock.from_usual for clock in clocks])[c]
    stretch, log_wait = _as_wait(prediction, from_usual, pace.late)
    v = prediction.variance * stretch**2
    between, level = leaves.between[c], leaves.level[c]
    shared = np.minimum(between + prior_share * level, MOST_BY_LEAVES * v)
    off = pace.log_phyllochron[c] - (log_wait - leaves.mean[c])
    total = v + between + level - 2 * shared + pace.variance[c]
    gain = (v - shared) / total
    counted = prediction.weight * (1 - MISCOUNTED) * _normal(off, total)
    weight = np.concatenate([counted, prediction.weight * MISCOUNTED * SLIP_DENSITY])
    evidence = float(weight.sum())
    keep = weight > LEAST_SHARE * evidence
    kept = weight[keep]
    return replace(
        prediction,
        weight=kept / kept.sum(),
        clock=np.concatenate([c, c])[keep],
        mean=np.concatenate([prediction.mean + gain * off / stretch, prediction.mean])[keep],
        variance=np.concatenate([(v - gain * (v - shared)) / stretch**2, prediction.variance])[keep],
    ), evidence


def _as_wait(prediction: Prediction, from_usual: NDArray[np.bool_], late: float) -> tuple[Array, Array]:
    """Draws that run from the usual date, seen as a wait from bud break: slope of its log, and its log.

    The wait is exp(y) - late, so that its log moves by exp(y) / (exp(y) - late) where y moves by 1.
    """
    whole = np.exp(prediction.mean)
    wait = np.where(from_usual, np.maximum(whole - late, whole / 4), whole)
    return whole / wait, np.log(wait)


def _normal(off: Array, variance: Array) -> Array:
    """Density of a normal with mean 0."""
    return np.asarray(np.exp(-0.5 * off**2 / variance) / np.sqrt(2 * math.pi * variance))
