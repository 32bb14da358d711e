"""Looks at new growth that come sooner after work than the species could show it: old leaves, or a slip."""

from __future__ import annotations

from collections.abc import Iterable

from phenology.forecasting.flush_forecast import FlushForecasts
from phenology.garden import Garden
from phenology.learning.garden_fit import GardenFit
from phenology.model.records import Flush, Look
from phenology.model.stages import Stage

HARDLY = 0.02
"""A stage that had come by the day of a look with less than this chance is asked about (ours)."""
FIRST_WEEKS = 60
"""Later than this after work nothing is too soon (ours). [days]"""
_TARGETS = (Stage.HARDENED, Stage.EXTENDED, Stage.BUDBREAK)


def may_be_early(look: Look, flush: Flush, known: Iterable[Look]) -> bool:
    """Whether a look is the first to show growth of a flush that work woke not long ago."""
    if flush.started_by != "work" or flush.started_on is None or look.stage.rank < Stage.BUDBREAK.rank:
        return False
    if (look.latest - flush.started_on).days > FIRST_WEEKS:
        return False
    return not any(one.stage.rank >= Stage.BUDBREAK.rank for one in known if one.id != look.id)


def too_early(look: Look, flush: Flush, garden: Garden) -> bool:
    """Whether a woken flush had hardly the chance to get as far as a look says.

    Parameters
    ----------
    look : Look
        The first that shows growth; see `may_be_early`.
    garden : Garden
        As known on the day of the look, without it.
    """
    stage = next(one for one in _TARGETS if one.rank <= look.stage.rank)
    tree = next((one for one in garden.trees if one.id == look.tree_id), None)
    if tree is None:
        return False
    forecasts = FlushForecasts(garden, GardenFit(garden))
    ahead = [
        one
        for h, issued in forecasts.live(tree)
        if h.flush.id == flush.id
        for one in forecasts.ahead(h, issued)
        if one.stage == stage
    ]
    return bool(ahead) and ahead[0].arrival.chance_by(garden.calendar.day(look.latest)) < HARDLY
