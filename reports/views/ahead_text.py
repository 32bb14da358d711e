"""What a grower asks besides the forecast, as text: the round, windows, a plan, and "may I?"."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from datetime import date

from phenology.advice.agenda import Review, Round
from phenology.advice.forecast_rows import Dates
from phenology.advice.plan import Branch, Plan, PlannedFlush
from phenology.advice.visits import Visit
from phenology.advice.windows import Window
from phenology.garden import Garden
from phenology.language.tree_selection import few_labels
from phenology.model.records import Tree
from phenology.work.answer import Answer
from phenology.work.cautions import ROUND_LOOKS_FIRST, WINDOW_LOOKS_FIRST, cautions
from phenology.work.grades import odds_in_tenths
from phenology.work.rule import Finding
from reports.views.forecast_text import SOON_DAYS, WORTH_SAYING, after_the_stop
from reports.views.words import (
    capital,
    date_range,
    full_date,
    short_date,
    tree_names,
    weekday_full_date,
    wrapped,
)

WIDTH = 80
NOTHING_DECIDES = "No look is likely to change a decision today: on every tree the chance is under 1 in 4."
SHEET_COLUMNS = ("date", "tree", "stage", "checked", "note", "look for")
STAGES = {"budbreak": "buds break", "extended": "stops lengthening", "hardened": "hard"}


def round_text(walk: Round, closing: Sequence[str] = (), width: int = WIDTH) -> str:
    """The round, most pressing first, place by place; the review when nothing grows; `closing` ends it."""
    lines = [f"Round of {weekday_full_date(walk.day)}", ""]
    several = len({v.place for v in walk.visits}) > 1
    for group in _together(walk.visits):
        lines += wrapped(_sentence(group, several), width)
    if walk.review is not None:
        lines += [line for text in review_lines(walk.review) for line in wrapped(text, width)]
    elif not walk.visits:
        lines += wrapped(NOTHING_DECIDES, width)
    if closing:
        lines += ["", *(line for text in closing for line in wrapped(text, width))]
    return "\n".join(lines)


def round_sheet(walk: Round, width: int = 80) -> str:
    """A sheet to print: a box a tree, room to write; no wider than paper takes."""
    lines = [f"Round of {weekday_full_date(walk.day)}      who: ______________", ""]
    for visit in walk.visits:
        lines.append(f"[ ] {visit.tree.label:<24} {visit.place}")
        words = f"    look for: {'; '.join(filter(None, (visit.look_for, visit.because)))}"
        lines += textwrap.wrap(words, width, subsequent_indent="    ")
        lines += ["    stage: ____________________  note: ________________________________________", ""]
    if not walk.visits:
        lines.append("Nothing to look at today.")
    lines.append("stage: dormant  swelling  budbreak  extending  extended  hardened  turning  bare")
    return "\n".join(lines)


def sheet_rows(walk: Round) -> list[tuple[str, ...]]:
    """The rows of the CSV sheet: stage, checked and note are left for the grower."""
    seen: dict[str, list[Visit]] = {}
    for visit in walk.visits:
        seen.setdefault(visit.tree.label, []).append(visit)
    return [
        (walk.day.isoformat(), label, "", "", "", "; ".join(v.look_for for v in visits))
        for label, visits in seen.items()
    ]


def _together(visits: Sequence[Visit]) -> Iterator[list[Visit]]:
    groups: dict[tuple[object, ...], list[Visit]] = {}
    for visit in visits:
        key = (visit.rank, visit.place, visit.look_for, visit.because, visit.by)
        groups.setdefault(key, []).append(visit)
    yield from groups.values()


def _sentence(group: Sequence[Visit], several_places: bool) -> str:
    first = group[0]
    names = tree_names([v.tree.label for v in group])
    where = f" ({first.place})" if several_places else ""
    until = f" By {short_date(first.by)}." if first.by is not None else ""
    because = f" {capital(first.because)}." if first.because else ""
    return f"{names}{where}: {first.look_for}.{because}{until}"


def review_lines(review: Review) -> Iterator[str]:
    """What there is to do when nothing grows, a paragraph each."""
    yield "Nothing grows, and hardly a look decides anything. Time to review the year: flushcast compare."
    if review.share == 0:
        yield "No frost on record here."
    yield from (line for _, line in sorted(_frost_lines(review)))
    if review.repot:
        names = tree_names([tree.label for tree, _ in review.repot])
        yield f"Repot watch: {names}: look at roots when buds swell; two years since the last, or unknown."


def _frost_lines(review: Review) -> Iterator[tuple[date, str]]:
    """The frosts to come, each with its day."""
    early, usual = review.first_frost
    if usual is not None:
        soon = f", in one year of ten by {full_date(early)}" if early else ""
        yield usual, f"First frost: usually by {full_date(usual)}{soon}; have covers ready before."
    elif early is not None:
        yield (
            early,
            f"First frost: in {review.share:.0%} of winters; in one year of ten by {full_date(early)}.",
        )
    middle, late = review.last_frost
    if middle is not None:
        rare = f", but in one year of ten after {full_date(late)}" if late else ""
        covers = "; covers stay at hand till then" if late else ""
        yield middle, f"Last frost: usually by {full_date(middle)}{rare}{covers}."


def round_cautions(walk: Round, garden: Garden) -> Iterator[str]:
    """What to mind with the work that the walk may lead to."""
    trees = [v.tree for v in walk.visits if v.operation]
    if trees:
        operations = tuple(dict.fromkeys(v.operation for v in walk.visits if v.operation))
        yield from cautions(operations, [garden.species_of(t) for t in trees], len(trees))
        yield ROUND_LOOKS_FIRST


def windows_text(
    windows: Sequence[Window], garden: Garden, width: int = 80, closing: Sequence[str] = (WINDOW_LOOKS_FIRST,)
) -> str:
    """The windows of a garden as text no wider than `width`; `closing` ends it."""
    lines = [f"Windows of work, as of {weekday_full_date(garden.as_of)}", ""]
    for window in windows:
        lines += wrapped(" ".join(_sentences(window, garden.as_of)), width)
    if not windows:
        lines += wrapped("No window is open or in sight; trees that are not being refined have none.", width)
    for text in closing:
        lines += ["", *wrapped(text, width)]
    return "\n".join(lines)


def _sentences(window: Window, today: date) -> Iterator[str]:
    name = f"{window.row.tree.label}, {window.operation.replace('-', ' ')}"
    if window.refused:
        yield f"{name}: {_opens(window)}. Not advised: {window.refused}."
        return
    yield f"{name}: {_opens(window)}; best {window.best}."
    if window.closes is not None:
        yield f"Closes {short_date(window.closes)}: {window.closes_why}."
        middle = window.opens[1]
        later = not window.is_open and (middle is None or middle > window.closes)
        if later and window.row.stage == "hardened":
            yield capital(after_the_stop(window.row))
    near = window.opens[0] is not None and (window.opens[0] - today).days <= SOON_DAYS
    if window.odds is not None and near and window.odds[-1] < WORTH_SAYING:
        now, fortnight, three_weeks = map(odds_in_tenths, window.odds)
        yield f"That it ripens is {now} done today, {fortnight} in two weeks, {three_weeks} in three."


def _opens(window: Window) -> str:
    first, middle, last = window.opens
    if window.is_open:
        return f"open since {short_date(middle)}" if middle else "open"
    if first is None:
        return "hardly this season"
    if last is not None and last <= window.row.garden.as_of:
        return f"very probably open by now ({date_range(first, last)})"
    return f"opens {date_range(first, last)}" if last else f"opens from {short_date(first)}, if at all"


def plan_lines(plan: Plan) -> Iterator[tuple[int, str]]:
    """Lines with how far each is set in."""
    stop = "" if plan.last_safe is None else f"; last safe day to wake growth {short_date(plan.last_safe)}"
    yield 0, f"{plan.tree.label}{stop}"
    if plan.why:
        yield 2, f"no plan: {plan.why}"
    for flush in plan.flushes:
        yield 2, _flush(flush)
        if flush.leave:
            yield 4, flush.leave
        for k, branch in enumerate(flush.branches):
            yield 4, f"{'or ' if k else ''}{_branch(branch)}"


def _flush(flush: PlannedFlush) -> str:
    begins = f"flush {flush.number}"
    if flush.woken_on is not None:
        begins += f", if it is woken about {short_date(flush.woken_on)}"
    stages = [f"{STAGES[stage]} {_dates(dates)}" for stage, dates in flush.stages.items() if dates[1]]
    if flush.is_hard:
        stages = ["hard"]
    dates = "; ".join(stages) or "no dates yet"
    if flush.chance < 0.9:
        dates += f"; {odds_in_tenths(flush.chance)} that it is hard this season"
    return f"{begins}: {dates}"


def _branch(branch: Branch) -> str:
    opens, until = _dates(branch.opens), ""
    when = f"{branch.when}, about {opens}" if branch.opens[1] else branch.when
    if branch.until is not None:
        likelier_after = branch.opens[1] is not None and branch.opens[1] > branch.until
        until = f", {'only if by' if likelier_after else 'until'} {short_date(branch.until)}"
    odds = "" if branch.ripens is None else f"; {odds_in_tenths(branch.ripens)} that what it wakes ripens"
    return f"{when}{until}: {branch.does}{odds}"


def _dates(dates: Dates) -> str:
    early, middle, late = dates
    if middle is None:
        return ""
    if early is None or late is None or early == late:
        return short_date(middle)
    return f"{short_date(middle)} ({date_range(early, late)})"


def answer_lines(answers: Iterable[tuple[Tree, Answer]]) -> Iterator[str]:
    """A sentence or two for the trees that get the same answer."""
    alike: dict[tuple[str, tuple[str, ...], str, str], list[Tree]] = {}
    for tree, one in answers:
        alike.setdefault((one.answer, one.why, one.instead, one.when), []).append(tree)
    for (answer, why, instead, when), trees in alike.items():
        reasons = [sentence.removeprefix(f"{trees[0].label} is ") for sentence in why]
        words = [f"{few_labels(trees)}: {answer}."]
        words += [f"{reason[:1].upper()}{reason[1:]}." for reason in reasons]
        if when:
            words.append(f"Better {when}.")
        if instead:
            words.append(f"Instead: {instead}.")
        yield " ".join(words)


def finding_lines(answers: Sequence[tuple[Tree, Answer]]) -> Iterator[str]:
    """Everything the rules said of work that was done, a sentence a rule, what forbids first."""
    by_rule: dict[tuple[str, str], tuple[Finding, list[Tree]]] = {}
    for tree, answer in answers:
        for finding in answer.findings:
            by_rule.setdefault((finding.rule, finding.sentence), (finding, []))[1].append(tree)
    found = sorted(by_rule.values(), key=lambda pair: not pair[0].forbids)
    for finding, trees in found:
        named = len(answers) > 1 or finding.forbids
        sentence = finding.sentence.removeprefix(f"{trees[0].label} is ") if named else finding.sentence
        yield f"{few_labels(trees)}: {sentence}." if named else f"{sentence[:1].upper()}{sentence[1:]}."
    if any(finding.forbids for finding, _ in found):
        yield "Written down all the same."
