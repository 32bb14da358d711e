"""Trees that have no dates ahead, and what their grower should look for all the same."""

from __future__ import annotations

from phenology.garden import Garden
from phenology.language.date_style import short_date
from phenology.learning.flush_history import FlushHistory, histories_of
from phenology.learning.transitions import SHORTENED_DAYS
from phenology.model.records import Tree
from phenology.model.stages import stage_rank
from phenology.records.flushes import CARRIES_ON_DAYS


def without_dates(garden: Garden, tree: Tree) -> str:
    """Why a tree's growth has no date, and what to look for; empty where there is nothing to say.

    Parameters
    ----------
    garden : Garden
    tree : Tree
    """
    if tree.retired is not None and tree.retired <= garden.as_of:
        return ""
    mine = histories_of(garden, tree)
    this = [h for h in mine if h.flush.season == garden.season]
    live = [h for h in this if h.ended is None and not h.lost]
    if not this:
        last = next((h for h in reversed(mine) if h.flush.season == garden.season - 1), None)
        return _carried(garden, last) if last is not None else ""
    if not live:
        return _after_loss(garden, this[-1])
    only, fixed = live[-1], garden.species_of(tree).growth == "fixed"
    if fixed and len(live) == 1 and only.number > 1 and only.stage is None and only.flush.started_on:
        day = short_date(only.flush.started_on)
        return f"a second flush is not taken for granted; if buds break after the work of {day}, note it"
    return ""


def _after_loss(garden: Garden, h: FlushHistory) -> str:
    """A tree that lost its flush pushes again while days are long."""
    longest = garden.longest_day
    if not h.lost or (longest is not None and garden.today - longest > SHORTENED_DAYS):
        return ""
    return "its flush was lost; look weekly for new buds, and write down when they break"


def _carried(garden: Garden, h: FlushHistory) -> str:
    """Growth of last season that the season's turn found unfinished, as happens where no winter stops it."""
    began = h.flush.started_on
    if began is None or h.flush.started_by == "season" or h.ended is not None or h.lost or h.worked:
        return ""
    growing = h.stage is None or stage_rank(h.stage) <= stage_rank("hardened")
    if not growing or (garden.as_of - began).days > CARRIES_ON_DAYS:
        return ""
    return (
        f"its flush of {short_date(began)} goes on past the season's turn, where it has no dates: look weekly"
    )
