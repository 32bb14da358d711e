"""The forecast as a grower reads it at the bench: today's trees, then the week's, later ones, the rest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from phenology.advice.agenda import Agenda, Section, State
from phenology.advice.alike import Alike, AlikeSteps, alike, row_warnings
from phenology.advice.forecast_rows import ForecastRow, GardenForecast
from phenology.model.operations import Operation
from phenology.model.stages import Stage
from phenology.work.cautions import CUT_FIRM, LOOK_FIRST
from phenology.work.grades import odds_in_tenths
from phenology.work.season_of_work import until_rest
from reports.views.change_text import COME, care_of
from reports.views.words import (
    capital,
    counted_word,
    date_range,
    few_names,
    short_date,
    tree_names,
    weekday_date,
    weekday_full_date,
    wrapped,
)

SOON_DAYS = 7  # windows that open this soon are told with the price of waiting
WORTH_SAYING = 0.97  # unless waiting three weeks hardly costs anything
MOST_NOTES = 3  # told of so many trees; each is told where its tree is asked for
MOST_GROUPS = 24  # more groups of alike trees than these are drawn together further, and told in brief

STATE = {"budbreak": "in bud break", "extended": "extended", "hardened": "hard"}
SEEN = {
    Stage.DORMANT: "buds closed",
    Stage.SWELLING: "buds swelling",
    Stage.BUDBREAK: "in bud break",
    Stage.EXTENDING: "lengthening",
    Stage.EXTENDED: "shoots stopped",
    Stage.HARDENED: "hard",
    Stage.TURNING: "turning",
    Stage.BARE: "bare",
}
DONE = {Operation.CUTBACK: "cut back", Operation.PINCHING: "pinched"}
HEADINGS = {Section.WEEK: "This week:", Section.LATER: "Later:", Section.LEAVE: "Leave:"}
CLOSING = (
    f"{LOOK_FIRST} {CUT_FIRM}",
    "How this is reckoned: docs/method.md, or the foot of a `flushcast report`.",
)
NO_TREES = "The garden has no trees yet; add one with `flushcast tree add`."


def forecast_text(
    agenda: Agenda, width: int = 80, *, in_full: bool = False, closing: Sequence[str] = CLOSING
) -> str:
    """The forecast as text no wider than `width`; `in_full` tells trees of later as fully as today's."""
    garden = agenda.garden
    season = garden.calendar.label(garden.season)
    lines = wrapped(f"{season} season, as of {weekday_full_date(garden.as_of)}", width)
    if agenda.forecast.usual_warmth or (garden.weather_through() and agenda.forecast.donors):
        lines += wrapped(weather_words(agenda.forecast), width)
    coarse = len(alike(agenda.rows)) > MOST_GROUPS
    names = few_names if coarse else tree_names
    for section in Section:
        rows = agenda.of(section)
        if heading := _heading(section, len(rows), agenda):
            lines += ["", *wrapped(heading, width)]
        full = not coarse and (in_full or section in (Section.TODAY, Section.WEEK))
        spring = not coarse or section is Section.LEAVE
        for group in alike(rows, coarse=coarse):
            words = told_in_full(group) if full else in_brief(group, spring=spring)
            lines += wrapped(f"{tree_names(group.labels)}: {words}", width)
    minded = (f"{names(who)}: {what}" for what, who in notes_of(agenda).items())
    notes = [*agenda.forecast.warnings, *minded][: MOST_NOTES if coarse else None]
    care = [f"{trees}: {what}" for trees, what in care_of(agenda, names)]
    for block in (care, [f"Note: {note}." for note in notes]):
        if block:
            lines += ["", *(line for text in block for line in wrapped(text, width))]
    if closing:
        lines += ["", *(line for text in closing for line in wrapped(text, width, hang=""))]
    if garden.attribution:
        lines += ["", *wrapped(f"Weather: {'; '.join(garden.attribution)}.", width)]
    return "\n".join(lines)


def _heading(section: Section, trees: int, agenda: Agenda) -> str:
    if section is not Section.TODAY:
        return HEADINGS[section] if trees else ""
    if not agenda.rows:
        return "Every tree here is retired." if agenda.garden.trees else NO_TREES
    if not trees:
        return "Today: no tree needs a look."
    return f"Today: look at {'this tree' if trees == 1 else f'these {counted_word(trees)}'}."


def weather_words(forecast: GardenForecast) -> str:
    """What weather a forecast rests on."""
    garden, donors = forecast.garden, forecast.donors
    through, ahead = garden.weather_through(), garden.forecast_through()
    if forecast.usual_warmth or through is None:
        return forecast.usual_warmth or "No weather yet."
    through_words = f"Weather to {weekday_date(through)}" + (
        f", a forecast to {weekday_date(ahead)}" if ahead else ""
    )
    years = "past year as it" if donors == 1 else "past years as they"
    return f"{through_words}, then {donors} {years} might run." if donors else f"{through_words}."


def notes_of(agenda: Agenda) -> dict[str, list[str]]:
    """What to mind with which trees; what the rules say of work, with those of today and this week alone."""
    near = agenda.of(Section.TODAY, Section.WEEK)
    of_work = {s for row in agenda.rows for t in row.told if t.advice for s in t.advice.sentences()}
    of_all, of_near = row_warnings(agenda.rows), row_warnings(near)
    return {what: who for what, who in of_all.items() if what not in of_work} | {
        what: who for what, who in of_near.items() if what in of_work
    }


def told_in_full(group: Alike) -> str:
    """All that alike trees are told: what they are at, what comes when, what to do, how far to trust it."""
    parts = [part for part in group.parts if part.first.arrival is not None and part.first.dated]
    asked = group.first.section is not Section.TODAY or any(v.step for v in group.first.presses)
    trust = f" Trust: {parts[0].trust.words}." if parts and asked else ""
    return f"{' '.join(map(capital, advice_words(group)))}{trust}"


def advice_words(group: Alike, *, odds: bool = True) -> Iterator[str]:
    """What alike trees are told, a sentence at a time; in brief what is not asked today.

    `odds` says whether the price of waiting is told in words.
    """
    today, asked = group.first.section is Section.TODAY, any(v.step for v in group.first.presses)
    yield from _besides(group)
    if not group.parts or (today and not asked):
        yield _briefly(group)
        return
    for part in group.parts:
        yield f"{_states(group, part)}."
        yield from _what_to_do(part, odds)
    if spring := group.spring:
        yield f"next {when_words(spring)}."


def in_brief(group: Alike, *, spring: bool = True) -> str:
    """The same in one line: what they are at, what comes when, what it opens, until when.

    Without `spring` neither the next spring is told, nor why today's looks are due.
    """
    return " ".join(map(capital, (*_besides(group, spring), _briefly(group, spring))))


def _besides(group: Alike, tell_why: bool = True) -> Iterator[str]:
    """What to look for today because of work done, the time of year, or roots that are due."""
    for visit in group.first.presses:
        if visit.step is None:
            ends = [v.by for row in group.rows for v in row.presses if v.look_for == visit.look_for and v.by]
            until = f" (until {date_range(min(ends), max(ends))})" if ends else ""
            because = f" {capital(visit.because)}." if visit.operation and tell_why else ""
            yield f"{visit.look_for}{until}.{because}"


def _briefly(group: Alike, tell_spring: bool = True) -> str:
    words = [] if group.parts else [at_words(group), group.first.reason]
    for part in group.parts:
        step = part.first
        words.append(_states(group, part))
        resting = group.first.section is Section.LEAVE
        if step.decides and step.look_on > step.garden.as_of and not (step.undated or resting):
            words.append(_look_words(part))
        if step.stage == "hardened":
            words += _opens_briefly(part)
    if tell_spring and (spring := group.spring):
        words.append(f"next {when_words(spring)}")
    return f"{'; '.join(words)}."


def _opens_briefly(part: AlikeSteps) -> Iterator[str]:
    step, stop = part.first, part.last_safe
    if step.refused:
        yield f"do not cut: {step.refused.sentence}"
    elif step.advice and step.operation:
        work = " and ".join(name.replace("-", " ") for name in step.advice.operations)
        yield f"if firm, {work if step.advice.wakes else step.advice.does}"
    else:
        yield step.left
    if stop is not None:
        yield f"stop by {'about ' if part.guess else ''}{short_date(stop)}"
        if _likelier_later(part):
            yield f"likelier hard after that, then leave it {until_rest(step.garden.species_of(step.tree))}"


def after_the_stop(step: ForecastRow) -> str:
    """What is left to do where leaves are likelier hard after the last safe day."""
    return f"it is likelier hard after that: then leave it {until_rest(step.garden.species_of(step.tree))}."


def _likelier_later(part: AlikeSteps) -> bool:
    """Whether the leaves are likelier hard after the last safe day than by then."""
    if part.first.arrival is None or part.last_safe is None:
        return False
    return part.middles is None or part.middles[0] > part.last_safe


def _look_words(part: AlikeSteps) -> str:
    if part.guess or part.first.undated:
        return f"look weekly from {short_date(min(step.weekly[0] for step in part.steps))}"
    return f"look {weekday_date(part.first.look_on)}"


def at_words(group: Alike) -> str:
    """What alike trees are at, and since or on when that is known; empty where they are told too coarsely."""
    days = [row.state.on for row in group.rows if row.state.on is not None]
    seen = dict.fromkeys(_seen(row.state) for row in group.rows)
    if len(seen) > 1 or not days:
        return "" if len(seen) > 1 else next(iter(seen))
    by = "by" if any(row.state.vague for row in group.rows) else "on"
    return f"{next(iter(seen))} {by} {date_range(min(days), max(days))}"


def _seen(state: State) -> str:
    if state.operation is not None:
        return DONE.get(Operation(state.operation), state.operation.replace("-", " "))
    return SEEN[Stage(state.stage)] if state.stage is not None else "no look yet this season"


def _states(group: Alike, part: AlikeSteps) -> str:
    """What they are at and what comes when, the flush named where two go on side by side."""
    step = part.first
    if len(group.parts) > 1:
        first = f"{at_words(group)}; " if part is group.parts[0] and at_words(group) else ""
        return f"{first}flush {step.flush}: {when_words(part)}"
    if step.arrival is None:
        return when_words(part)
    coming = "next " if step.season > step.garden.season and not step.undated else ""
    return "; ".join(filter(None, [at_words(group), *_left(group, part), f"{coming}{when_words(part)}"]))


def _left(group: Alike, part: AlikeSteps) -> Iterator[str]:
    """Why nothing is to be looked for until the next season, where something else than rest says so."""
    if (
        group.first.section is Section.LEAVE and not group.first.steps and not part.first.decides
    ) or group.first.open_end:
        yield group.first.reason


def when_words(part: AlikeSteps) -> str:
    """When the next stage comes: a middle date and the range that holds four in five, a guess called one."""
    step, today = part.first, part.first.garden.as_of
    name = COME[step.stage]
    ahead = tuple(one for one in part.steps if one.arrival is not None)
    if 0 < len(ahead) < len(part.steps):
        return f"some hard, the others {when_words(AlikeSteps(ahead))}"
    if step.arrival is None:
        days = [s.seen[1] for s in part.steps if s.seen[1] is not None]
        return f"hard since {date_range(min(days), max(days))}" if days else "hard"
    if step.undated:
        return f"look weekly from {short_date(min(s.weekly[0] for s in part.steps))} for {name}, no date yet"
    low, middles, high = part.date_at(0.1), part.middles, part.date_at(0.9)
    guess = ", a guess" if part.guess else ""
    rests = step.stage == "budbreak" and step.flush > 1
    if low is None:
        return f"{'buds may well rest until spring' if rests else f'hardly {name} this season'}{guess}"
    if middles is None or high is None:
        or_not = "or buds rest until spring" if rests else "if at all"
        return f"{name} from about {short_date(max(low, today))}, {or_not}{guess}"
    about, between = f"about {date_range(*middles)}", f"({date_range(low, high)})"
    if high <= today:
        return f"very probably {name} by now {between}{guess}"
    if middles[1] <= today:
        return f"{name} probably already {between}{guess}"
    return f"{name} {about} {between}{', perhaps already' if low <= today else ''}{guess}"


def _what_to_do(part: AlikeSteps, tell_odds: bool) -> Iterator[str]:
    """When to look, what hardening opens, when to stop, and what waiting costs."""
    step, today, last = part.first, part.first.garden.as_of, part.last_safe
    if step.decides and step.look_on > today and not step.undated:
        yield f"{_look_words(part)}."
    if step.stage != "hardened":
        return
    if step.refused:
        yield f"do not cut: {step.refused.sentence}."
    elif step.advice and step.operation:
        yield f"{'look, and if still firm, ' if step.arrival is None else 'if firm, '}{step.advice.does}."
    else:
        yield f"only note it: {step.left}."
    if last is not None:
        yield f"stop by {'about ' if part.guess else ''}{short_date(last)}."
        if _likelier_later(part):
            yield after_the_stop(step)
    soon = (step.look_on - today).days <= SOON_DAYS
    if tell_odds and soon and part.odds and part.odds[-1] < WORTH_SAYING:
        now, fortnight, three_weeks = map(odds_in_tenths, part.odds)
        yield (
            f"that new growth ripens is {now} if it is woken today, {fortnight} in two weeks, "
            f"{three_weeks} in three."
        )
