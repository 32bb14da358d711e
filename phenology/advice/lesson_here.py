"""When the state that a lesson speaks of comes here, and what it opens here.

The state is found in the plan of the season: the same propagation and the same craft as any window. So it
cannot fall outside the season of growth, nor pass the last safe day unsaid.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

from phenology.advice.adviser import LATENESS
from phenology.advice.forecast_rows import NEVER, Dates
from phenology.advice.lesson import (
    COUNTED,
    CUES,
    Lesson,
    TreeState,
    bloom_elsewhere,
    cue_ends,
    cue_window,
    stage_dates,
    state_there,
)
from phenology.advice.lesson_place import LessonPlace, LessonSeason
from phenology.advice.plan import Plan, PlannedFlush
from phenology.language.date_style import short_date
from phenology.model.operations import Operation
from phenology.model.records import Tree
from phenology.work.case import Case
from phenology.work.rule import SHAPING
from phenology.work.rules import check_work
from phenology.work.season_of_work import WHEN, until_rest
from phenology.work.technique import AFTER_FROST, Choice, choose, doing, in_turn

JUST_PASSED = 28  # a state that came so lately is still told as this season's (ours) [days]
LATE_DAY = 244  # from 1 September (1 March in the south) day length leads more than heat (ours)

GROWTH = {
    "wiring": "wire; look after three weeks at wire on this year's shoots, after six at older wood",
    "wire-removal": "cut wire off, never unwind it, where it touches tight; look again every two weeks",
    "feeding": "feed once buds or shoots move",
    "thinning": "thin crowded shoots to two at a fork",
    "pest-treatment": "treat only the pest that you see, by the label",
    "moving": "move it; not from shade into hard sun in one day",
}
"""Work that goes by growth alone, as an order. Common practice, no source."""


@dataclass(frozen=True)
class WorkHere:
    """When a state comes here, and what of it."""

    dates: Dates  # when the state comes; all None where it does not
    until: date | None  # the last day for the work, where something ends it
    in_time: bool  # whether the state comes, and before it is too late for the work
    answer: str  # whether the work itself is good then: "yes", "better wait" or "no"
    why: tuple[str, ...]  # what stands against it or is to be minded, a sentence each without a full stop
    does: str  # what to do, as an order without a full stop
    never_share: float = 0.0  # chance that the state does not come in the season
    passed: date | None = None  # when it came in the season under way, where the next one is meant


@dataclass(frozen=True, kw_only=True)
class Translation(WorkHere):
    """A lesson there as work here."""

    lesson: Lesson
    state: TreeState  # what a tree was at there
    there: str  # name of the place
    here: str
    tree: str  # the tree of the garden that is meant; empty for any of the species
    years_there: int  # past seasons of daily weather
    years_here: int
    # places with little daily weather or none, for which the usual warmth of the latitude stands in: name,
    # latitude and years
    zonal: tuple[tuple[str, float, int], ...]
    # the date of the lesson, moved by half a year between hemispheres: what day length would say
    same_day_length: date
    late: bool  # whether it is so late in the season that day length and frost lead more than heat
    guess: bool  # whether nobody's looks at the species are known, only the catalogue

    @property
    def due_low(self) -> date | None:
        """When the state has come here with a chance of one in ten."""
        return self.dates[0]

    @property
    def due(self) -> date | None:
        """The same with even odds."""
        return self.dates[1]

    @property
    def due_high(self) -> date | None:
        """The same with a chance of nine in ten."""
        return self.dates[2]

    @property
    def asked_from(self) -> date:
        """First day of the lesson's date."""
        return self.lesson.first

    @property
    def asked_to(self) -> date:
        """Last day of it, where it is vague."""
        return self.lesson.last


def translate(there: LessonPlace, here: LessonPlace, lesson: Lesson) -> list[Translation]:
    """When what was taught elsewhere is due here, and what to do then.

    Parameters
    ----------
    there, here : LessonPlace
        Both of the lesson's species.

    Returns
    -------
    list of Translation
        One for each tree of the species on record here; one for any tree of it where there are none.

    Raises
    ------
    WeatherError
        If the year of the lesson is given and its weather there is not known.
    """
    state = state_there(there, lesson)
    calendar = here.garden.calendar
    n = there.garden.calendar.same_day(lesson.first, there.garden.season)
    zonal = {p.name: (p.name, p.place.latitude, len(p.years)) for p in (there, here) if p.zonal}
    out = []
    for tree in here.own_trees or [here.tree]:
        if by_flush := state.cue == "flush":
            found = _by_flush(here, lesson, state, tree)
        else:
            found = _by_cue(there, here, lesson, state, tree)
        latest = n if found.dates[1] is None else max(n, calendar.day(found.dates[1]))
        out.append(
            Translation(
                **vars(found),
                lesson=lesson,
                state=state,
                there=there.name,
                here=here.name,
                tree=tree.label,
                years_there=len(there.years),
                years_here=len(here.years),
                zonal=tuple(zonal.values()),
                same_day_length=calendar.date(here.garden.season, n),
                late=latest >= LATE_DAY,
                guess=by_flush and here.under_way.plan.guess,
            )
        )
    return out


# -------------------------------------------------------------------------------------------- by a flush


def _by_flush(here: LessonPlace, lesson: Lesson, state: TreeState, tree: Tree) -> WorkHere:
    now = here.under_way
    found = _in_season(now, lesson, state, tree)
    if here.garden.longest_day is None and tree.id == here.tree.id:
        why = "so near the equator no spring begins the year, and flushes have no number"
        does = "go by the leaves: cut only what is hard, on a tree that grows strongly"
        return WorkHere(NEVER, None, False, "no", (why,), does, 1.0)
    came = found.dates[1]
    over = came is not None and came < here.garden.as_of - timedelta(days=JUST_PASSED)
    plan = now.plan_of(tree)
    begun = plan.flushes[0].number > state.flush if plan.flushes else True
    if over or begun or now.growth_ends < here.garden.as_of:
        passed = found.dates[1] if over else _seen(now, state, tree)
        return replace(_in_season(here.after, lesson, state, tree), passed=passed)
    return found


def _seen(season: LessonSeason, state: TreeState, tree: Tree) -> date | None:
    """When a tree was seen to come to the state in a season."""
    for h in season.planner.fit.histories:
        if (h.tree.id, h.flush.season, h.number) == (tree.id, season.garden.season, state.flush):
            found = h.dated(state.stage)
            return found and season.garden.calendar.date(season.garden.season, sum(found) / 2)
    return None


def _in_season(season: LessonSeason, lesson: Lesson, state: TreeState, tree: Tree) -> WorkHere:
    """When the state comes in a season; where it does not, what the last flush before it opens."""
    plan = season.plan_of(tree)
    flush = next((f for f in plan.flushes if f.number == state.flush), None)
    dates = stage_dates(flush, state.stage, season)
    if flush is not None and dates[1] is not None and dates[1] <= season.growth_ends:
        return _at_flush(season, plan, lesson, state.stage, flush)
    if not plan.flushes:
        return WorkHere(NEVER, None, False, "no", (plan.why,), "leave it to rest", 1.0)
    last = next((f for f in reversed(plan.flushes) if f.number <= state.flush), plan.flushes[0])
    why = _why_never(season, lesson, plan, last, state)
    instead = _at_flush(season, plan, lesson, "hardened", last)
    does, hard = instead.does, instead.dates[1]
    if lesson.operation not in GROWTH and not last.leave.startswith(does):
        about = f" (about {short_date(hard)})" if hard and not last.is_hard else ""
        does = f"{does}, once leaves of the {COUNTED[min(last.number, 8)]} flush are hard{about}"
    chance = 1.0 if flush is None or state.stage not in flush.arrivals else flush.arrivals[state.stage].p_not
    return WorkHere(NEVER, instead.until, False, "no", (why,), does, chance)


def _why_never(season: LessonSeason, lesson: Lesson, plan: Plan, last: PlannedFlush, state: TreeState) -> str:
    """Why a state does not come here in a season."""
    hard = last.stages.get("hardened", NEVER)[1]
    if last.number == state.flush:
        return "growth ends here before that"
    if last.leave:
        return "nothing is cut that would wake that flush"
    if lesson.species.growth == "fixed":
        return "one flush a year is usual for it, whatever is cut"
    if hard is not None and plan.last_safe is not None and hard > plan.last_safe:
        return "the cut that wakes that flush would come after the last safe day here"
    return f"a {COUNTED[state.flush]} flush would not be hard before growth ends here"


def _at_flush(season: LessonSeason, plan: Plan, lesson: Lesson, stage: str, flush: PlannedFlush) -> WorkHere:
    """What a stage of a flush opens here, how late it is then, and what of the lesson's own work."""
    late, dates, work = plan.late, stage_dates(flush, stage, season), lesson.operation
    assert late is not None  # a plan with flushes knows how they end
    day = max(dates[1] or season.growth_ends, season.garden.as_of)
    case = Case(
        season.garden, flush.known.tree, work or Operation.CUTBACK, day, late=late, planned=True,
        known=replace(flush.known, stage=stage),
    )  # fmt: skip
    stop = late.stop(case.required).day
    told = late.stated(case.required, season.day(day))
    closed = season.day(day) > stop and not case.early_guess
    grows = not work or Operation(work).wakes
    never = 0.0 if stage not in flush.arrivals else flush.arrivals[stage].p_not
    if stage != "hardened" and work not in GROWTH and (work != "pinching" or closed):
        ready = _at_flush(season, plan, lesson, "hardened", flush)
        if not ready.in_time:
            hard = "" if ready.does.startswith("if ") else ", once the leaves are hard"
            return replace(ready, dates=dates, does=f"{ready.does}{hard}", never_share=never)
        does = f"cut nothing yet; when the leaves are hard, {ready.does}"
        answer, soft = ("better wait", ("leaves are soft then",)) if work else ("yes", ())
        return WorkHere(dates, ready.until, True, answer, soft, does, never)
    situation = replace(flush.situation, stage=stage, grade=case.grade, guess=case.early_guess)
    if closed and grows:
        choice = choose(replace(situation, grade=situation.grade if situation.too_late else "too late"))
        does = _order(choice)
        if told is not None and dates[0] is not None and dates[0] <= told and not choice.leave:
            still = _order(choose(replace(situation, grade="getting late")))
            does = f"if leaves are hard by {short_date(told)}, {still}; later, {does}"
        return WorkHere(dates, told, False, "no", (late.reason(case.required),), does, never)
    if closed and work == "feeding":
        against = "feed that forces growth stops in time for the last leaves to firm"
        return WorkHere(dates, told, False, "no", (against,), "give no feed that keeps growth soft", never)
    if work == "thinning" and flush.leave:
        return WorkHere(dates, None, True, "no", (flush.leave,), flush.leave, never)
    if work in GROWTH:
        return WorkHere(dates, None, True, "yes", (), GROWTH[work], never)
    until = told if grows and told is not None and told >= day and not flush.leave else None
    if work == "pinching" and until is not None:  # soft tips are gone sooner
        until = min(until, flush.stages.get("extended", NEVER)[1] or until)
    return WorkHere(dates, until, True, *_judged(case, choose(situation), work), never)


def _judged(case: Case, choice: Choice, work: str) -> tuple[str, tuple[str, ...], str]:
    """Whether the lesson's own work is good here, why not or what to mind, and what to do."""
    findings = check_work(case) if work else []
    against = [f for f in findings if f.answer in ("no", "wait")]
    option = next((o for o in choice.options if o.operation == work), None)
    if against:
        answer = "no" if any(f.answer == "no" for f in against) else "better wait"
        return answer, tuple(f.sentence for f in against[:2]), _order(choice)
    if option is None and work in (*SHAPING, "pinching"):
        why = choice.leave or f"this flush of {case.species.name} is not for {work.replace('-', ' ')}"
        return "no", (why,), _order(choice)
    if option is not None and option.unmet:
        return "better wait", option.unmet[:1], _order(choice)
    mind = tuple(f.sentence for f in findings)[:2]
    return "yes", mind, _order(choice, None if option is None else option.technique)


def _order(choice: Choice, technique: str | None = None) -> str:
    """What a choice comes to, as an order; led by one technique where that is asked for."""
    species, options = choice.situation.species, choice.options
    waking = {o.technique for o in options if o.wakes}
    ways = [way for way in choice.branches if technique in (None, way[0])]
    if technique is not None:
        ways = ways or [(technique,)]
    if ways and not choice.leave and (technique is not None or ways[0][0] in waking):
        return in_turn(ways[0], species)
    quiet = in_turn((o.technique for o in options if o.open and not o.wakes), species)
    if choice.situation.too_late and not choice.leave:
        return f"no more cutting {until_rest(species)}; {quiet or 'let it harden'}"
    return quiet or choice.sentence


# -------------------------------------------------------------------------------------------- by another cue


def _by_cue(there: LessonPlace, here: LessonPlace, lesson: Lesson, state: TreeState, tree: Tree) -> WorkHere:
    """When the season of the work comes, this year or next, and what it opens."""
    order = _cue_order(lesson, state.cue)
    if state.cue == "after-bloom" and not state.fits:
        return WorkHere(NEVER, None, False, "no", ("its flowers do not fade there at that time",), order, 1.0)
    taught = there.of_lesson(lesson.year)
    for season in (here.under_way, here.after):
        if state.cue == "after-bloom":
            window = bloom_elsewhere(taught, lesson.days(taught), season)
        else:
            window = cue_window(season, tree, state.cue)
        until = cue_ends(season, state.cue, window)
        if until is not None and until >= here.garden.as_of:
            break
    if until is None or window[1] is None:
        why = f"no date tells here when {CUES[state.cue]}"
        return WorkHere(NEVER, None, False, "no", (why,), f"go by what the tree shows: {order}", 1.0)
    if until < window[1]:
        does = "leave it alone this year, and shape it next year as the flowers fade"
        return WorkHere(window, until, False, "no", ("next year's flower buds are set by then",), does)
    case = Case(season.garden, tree, lesson.operation, window[1], planned=True)
    found = check_work(case) if lesson.operation else []
    against = tuple(f.sentence for f in found if f.forbids and f.rule not in LATENESS)
    return WorkHere(window, until, True, "no" if against else "yes", against[:2], order)


def _cue_order(lesson: Lesson, cue: str) -> str:
    """Work that goes by a season of the year, as an order."""
    species, work = lesson.species, lesson.operation
    if work == "repotting":
        return f"repot {WHEN[cue]}, if roots fill the pot"
    if work == "pruning":
        return f"prune wood {WHEN[cue]}"
    if work in (*SHAPING, "pinching"):
        return f"{AFTER_FROST if species.blooms == 'autumn' else WHEN[cue]}, {doing('bloom-cut', species)}"
    if work == "wiring":
        return "wire branches at rest on frost-free days, buds kept whole"
    return GROWTH.get(work, "cut nothing for a date: the winter list says what is due")
