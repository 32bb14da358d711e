"""What a flush, the weather ahead and the time of year say against work."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

from phenology.language.date_style import short_date
from phenology.language.degrees import degrees
from phenology.model.operations import HALVING_JOINS
from phenology.work.case import Case
from phenology.work.grades import HELP_LATE, grade_of, odds_in_tenths, verdict_of
from phenology.work.last_safe import Late
from phenology.work.season_of_work import LEAVES_FEED, rest_of, until_rest

FROST_AHEAD_DAYS = 10
AWAY_DAYS = 10
LOOK_IS_OLD_DAYS = 7  # a look at soft leaves older than this no longer says that they are soft (ours)
SOONEST_HARD_DAYS = 35  # no flush that work woke is hard sooner, where nobody looked (ours)


def joins_cut(case: Case) -> bool:
    """Whether halving belongs to a cut of the last two weeks, whose leaves were hard, and is not done yet."""
    since = case.day - timedelta(days=HALVING_JOINS)
    cuts = [w.latest for w in case.done("cutback") if w.latest >= since]
    return case.operation == "halving" and any(
        not any(halved.latest >= cut for halved in case.done("halving")) for cut in cuts
    )


def not_hard(case: Case) -> str | None:
    """Soft leaves are not cut; a tree shaped at bloom's end is not asked for hard ones."""
    h = case.history
    if h is None or case.early or case.shown("hardened"):
        return None
    if h.stage is None and h.woken is not None and not joins_cut(case) and not case.planned:
        since = case.t - h.woken[1]
        if 0 < since < SOONEST_HARD_DAYS:
            woken = short_date(case.day - timedelta(days=round(since)))
            return f"work on {woken} woke a new flush, and no look has seen it hard yet"
    if h.stage is None or h.last_look is None:
        return None
    if case.t - h.last_look > LOOK_IS_OLD_DAYS or case.species.bloom_led or joins_cut(case):
        return None
    return f"last seen {h.stage}: look first, and cut only what is firm and springs back when pressed"


def left_on(case: Case) -> str | None:
    """A flush that opens nothing is left on, as the second of a tree that flushes once."""
    s = case.species
    if s.bloom_led or s.opens(case.situation().flush):
        return None
    does = "carries its flowers" if s.blooms == "summer" else "feeds the tree"
    return f"a later flush of {s.name} is left on: it {does}"


def checked(case: Case) -> str | None:
    """A flush that was stopped is not a hardened one."""
    if case.history is None or not case.history.checked:
        return None
    return "growth was checked, and a flush that stopped for want of water or room is not a hardened one"


def halved_first(case: Case) -> str | None:
    """First the cut, then the halving."""
    halved = [d.days_ago for d in case.situation().done if d.operation == "halving" and d.this_flush]
    if not halved:
        return None
    when = short_date(case.day - timedelta(days=min(halved)))
    return f"leaves were halved on {when}: cut back first, then halve what is left"


def halved_already(case: Case) -> str | None:
    """A leaf is halved once."""
    halved = [d.days_ago for d in case.situation().done if d.operation == "halving" and d.this_flush]
    if not halved or joins_cut(case):
        return None
    return f"these leaves were halved on {short_date(case.day - timedelta(days=min(halved)))} already"


def soft_tips(case: Case) -> str | None:
    """Pinching is for soft tips."""
    taken = case.species.takes("pinch") or case.species.practice == "undescribed"
    if case.stage is None or case.stage == "extending" or not taken:
        return None
    if case.shown("extended"):
        return "pinching is for soft tips while shoots lengthen; these have stopped, so cut back when hard"
    return "pinching opens when shoots lengthen, and lasts days; they do not yet"


def evergreen_window(case: Case) -> str | None:
    """Evergreens are cut once their spring flush is hard."""
    s = case.species
    if s.habit != "evergreen" or s.bloom_led or case.shown("hardened") or joins_cut(case):
        return None
    return "a broadleaf evergreen is cut once its spring flush is hard, and no look says so yet"


def basal_leaf(case: Case) -> str | None:
    """The budless leaf feeds the tree too."""
    return "the budless lowest leaf is taken off only where the canopy is very full"


def heat(days: int) -> Callable[[Case], str | None]:
    """A rule against work before so many days of heat."""

    def fires(case: Case) -> str | None:
        limit = case.garden.limits.hot_day_c
        hot = [(day, high) for day, _, high in case.ahead(days) if high > limit]
        if not hot:
            return None
        day, high = max(hot, key=lambda d: d[1])
        found = f"{degrees(round(high))} on {short_date(day)}, above {degrees(limit)}"
        return f"{found}: bared and new leaves scorch; wait it out"

    return fires


def after_heat(days: int) -> Callable[[Case], str]:
    """From when work is better that waits for heat to pass."""

    def when(case: Case) -> str:
        hot = [day for day, _, high in case.ahead(days) if high > case.garden.limits.hot_day_c]
        return f"from {short_date(max(hot) + timedelta(days=1))}"

    return when


def frost_ahead(case: Case) -> str | None:
    """Cuts and new growth do not stand frost."""
    limit = case.garden.limits.frost_c
    cold = [(day, low) for day, low, _ in case.ahead(FROST_AHEAD_DAYS) if low <= limit]
    if not cold:
        return None
    day, low = cold[0]
    return f"frost ahead ({degrees(round(low))} on {short_date(day)}): cuts and new growth would be hurt"


def away(case: Case) -> str | None:
    """Worked trees need a daily eye."""
    gone = case.away(AWAY_DAYS)
    if gone is None:
        return None
    from_to = f"from {short_date(gone[0])} to {short_date(gone[1])}"
    return f"nobody is home to water {from_to}: worked trees need a daily eye"


def back_home(case: Case) -> str:
    """From when work is better that waits for the grower."""
    gone = case.away(AWAY_DAYS)
    return f"from {short_date(gone[1] + timedelta(days=1))}" if gone else ""


def until(case: Case) -> str:
    """Until when a cut waits that must wake nothing more this year."""
    return f"leave it {until_rest(case.species)}"


def at_rest(case: Case) -> str:
    """From when a cut is made that must wake nothing more this year."""
    return rest_of(case.species)[1]


# ------------------------------------------------------------------------------------------ how late it is


def too_late(case: Case) -> str | None:
    """Woken growth would hardly ripen."""
    return _late(case, "no")


def late(case: Case) -> str | None:
    """Woken growth would ripen more often than not, but the last safe day is over."""
    return _late(case, "wait")


def perhaps_late(case: Case) -> str | None:
    """A guess from the catalogue forbids nothing in the first half of the growing season: it says so."""
    late = _past(case)
    if late is None or not case.early_guess:
        return None
    odds = odds_in_tenths(late.odds_on(case.t))
    return (
        f"by a guess from the catalogue it is {odds} that new growth ripens: note when buds break and "
        "when leaves are hard, and the guess becomes this garden's own"
    )


def getting_late(case: Case) -> str | None:
    """The last safe day is near."""
    if case.late is None or case.grade != "getting late" or _past(case) is not None:
        return None
    odds = odds_in_tenths(case.late.odds_on(case.t))
    return f"getting late: {odds} that new growth ripens before {_end(case.late)}; {HELP_LATE}"


def rests(case: Case) -> str | None:
    """So late a cut wakes nothing any more, and costs leaves that still feed the tree."""
    if case.grade != "rests" or case.shown("bare"):
        return None
    if case.operation == "halving":
        return None if case.species.habit == "evergreen" else LEAVES_FEED
    if case.species.habit == "evergreen":
        return f"so late a cut rests; {until(case)}"
    return f"so late a cut rests until spring; leaves still feed the tree, so {until(case)}"


def _past(case: Case) -> Late | None:
    """The late season where its last safe day is over and growth would still wake."""
    late = case.late
    return late if late is not None and late.zone(case.t, case.required) == "danger" else None


def _late(case: Case, answer: str) -> str | None:
    late, grade = _past(case), case.grade
    if late is None or grade is None or case.early_guess or case.after_bloom:
        return None
    if ("no" if verdict_of(grade) == "no" else "wait") != answer:
        return None
    how = {"too late": "too late", "risky": "risky"}.get(grade, "late")
    odds = late.odds_on(case.t)
    if odds >= case.required or grade_of(odds, case.required) != grade:  # the calendar says so, not the odds
        why = late.reason(case.required)
    else:
        why = f"{odds_in_tenths(odds)} that it ripens before {_end(late)}"
        last = late.last_safe(case.required)
        if grade == "getting late" and last is not None:
            is_ = "is" if last >= case.garden.as_of else "was"
            why += f", and the last safe day {is_} {short_date(last)}"
    then = "by then " if case.planned and case.day > case.garden.as_of else ""
    return f"{then}{how} to wake growth: {why}; {until(case)}"


def _end(late: Late) -> str:
    return "frost" if late.ender == "frost" else "nights turn cool"
