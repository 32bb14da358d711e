"""Seasons side by side as tables and words at 80 columns; the page shows the same ones."""

from __future__ import annotations

import math
import textwrap
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from phenology.garden import Garden
from phenology.judging.season_truth import SeasonTruth
from phenology.learning.flush_history import WIDEST_DAYS
from phenology.learning.transitions import TARGETS
from phenology.model.units import c_to_f
from phenology.seasons.compare import Comparison
from phenology.seasons.followed import DaysAfter, Followed
from phenology.seasons.season_frosts import SeasonFrost
from phenology.seasons.season_heat import BASE_C
from phenology.seasons.tree_stages import StageDate
from phenology.seasons.trends import FEWEST_SEASONS, Trend
from reports.table import Column, Table, attribute, grid, in_units
from reports.text.words import MONTHS, listed, short_date

WIDTH = 80
STAGE_WIDE = 22
PLACES_SHOWN = 3
STAGES = {"budbreak": "bud break", "extended": "extended", "hardened": "hardened"}
HARD = STAGES | {"hardened": "hard"}
METHOD = "How this is reckoned: docs/method.md, section 7."
POINT = "A point: too cool a time of year to say, or warmer already than a usual season."
TRUTH_NOTE = (
    "First forecast: made at bud break where that was seen, else at the season's start. Held: how many of "
    "the ranges meant to hold four in five did; 80% is honest."
)


def compare_text(
    comparison: Comparison,
    units: str,
    truth: Sequence[SeasonTruth],
    followed: Sequence[Followed],
    trends: Sequence[Trend],
    *,
    every_stage: bool = False,
) -> str:
    """Warmth first, then frosts, the dates by species, past forecasts, what followed work, and trends.

    Parameters
    ----------
    comparison : Comparison
    units : {"C", "F"}
    truth, followed, trends : sequence
        As `reports.output.compare.Compared` has them; empty ones are left out.
    every_stage : bool
        Every stage of later flushes too, and the warmth that each took.
    """
    garden = comparison.garden
    weather = f"Weather: {'; '.join(garden.attribution)}." if garden.attribution else ""
    parts = [
        _warmth_lines(comparison, units),
        _frost_lines(comparison.frosts, garden),
        _species_lines(comparison, units, every_stage),
        _truth_lines(truth, garden),
        _followed_lines(followed, garden),
        _trend_lines(trends, garden),
        _wrapped(weather),
        [METHOD],
    ]
    return "\n\n".join("\n".join(lines) for lines in map(list, parts) if lines)


def tree_text(comparison: Comparison, units: str, trees: Collection[str]) -> str:
    """Every stage of the trees with these ids, tree by tree, with the warmth that each took."""
    garden = comparison.garden
    lines: list[str] = []
    seen = [one for one in comparison.trees if one.tree_id in trees]
    for tree in (tree for tree in garden.trees if tree.id in trees):
        name = f"{tree.label} ({garden.species_of(tree).name})"
        mine = [one for one in seen if one.tree_id == tree.id]
        if mine:
            lines += [name, *_stage_lines({"": mine}, garden, units, True), ""]
        else:
            lines += _wrapped(f"{name}: no stage was seen to come between two looks in these seasons")
    return "\n".join([*lines, *_wrapped(loose_words(comparison, trees)), *_legend(seen, units, True)])


def warmth_table(comparison: Comparison, units: str, days: Iterable[tuple[str, int]]) -> Table[Any]:
    """Each season's warmth and rank by today, and its days ahead of usual on these days of it."""

    def lead(name: str, day: int) -> Column[Any]:
        return Column(
            name, "number", lambda h: comparison.ahead_on(h.season, day), digits=0, title=name, show=signed
        )

    columns = [
        attribute("season", "season"),
        Column[Any]("degree_days", "degree_days", lambda h: h.degree_days, title="heat", show=whole),
        Column[Any]("rank_of_all", "whole", lambda h: h.rank_of_all, title="rank"),
        *(lead(name, day) for name, day in days),
    ]
    return _table(columns, comparison.warmth, comparison.garden, units)


def _warmth_lines(comparison: Comparison, units: str) -> Iterator[str]:
    garden, days = comparison.garden, lead_days(comparison)
    until, of_all = short_date(garden.as_of), max(h.of_all for h in comparison.warmth)
    words = f"Warmth to {until}, {comparison.place}: degree-days above {base_words(units)}, rank of {of_all}"
    words += " seasons"
    if days:
        also = f" and on {until}" if any(name == until for name, _ in days) else ""
        words += f", and days ahead (+) of or behind (-) usual at the end of each month{also}"
    yield from _wrapped(words)
    yield warmth_table(comparison, units, days).as_text(WIDTH)
    for note in warmth_notes(comparison):
        yield from _wrapped(note)
    past = [s for s in comparison.seasons if s < garden.season]
    if any(comparison.ahead_on(s, day) is None for s in past for _, day in days):
        yield POINT


def warmth_notes(comparison: Comparison) -> Iterator[str]:
    """What the table of warmth leaves out, and why."""
    label = comparison.garden.calendar.label
    if not comparison.usual_known:
        yield "Too few seasons on record to say what is usual."
    elif all(h.days_ahead is None for h in comparison.warmth):
        yield f"{short_date(comparison.garden.as_of)} is too cool a time of year to count days ahead."
    lacking = [label(h.season) for h in comparison.warmth if h.degree_days is None]
    if lacking:
        yield f"Too little weather was measured to tell the warmth of {listed(lacking)}."
    filled = [
        f"{counted(h.days_filled, 'day')} of {label(h.season)}"
        for h in comparison.warmth
        if h.days_filled and h.degree_days is not None
    ]
    if filled:
        yield f"Not measured, and filled from the usual year: {', '.join(filled)}."


def lead_days(comparison: Comparison) -> list[tuple[str, int]]:
    """Days of the season on which a lead is worth showing: month ends and today, with their names.

    Month ends on which no season shown has a lead, as in winter, are left out.
    """
    garden = comparison.garden
    start = garden.calendar.start(garden.season)
    days = {garden.today: short_date(garden.as_of)}
    for k in range(11):
        year, month = divmod(start.month + k, 12)
        end = (date(start.year + year, month + 1, 1) - start).days
        if abs(end - garden.today) > 2:
            days[end] = MONTHS[month - 1]
    return [
        (name, day)
        for day, name in sorted(days.items())
        if any(comparison.ahead_on(s, day) is not None for s in comparison.seasons)
    ]


def frost_tables(frosts: Iterable[SeasonFrost], garden: Garden) -> dict[str, Table[Any]]:
    """The last and first frosts of each season, place by place."""

    def spring(f: SeasonFrost) -> str | None:
        if f.last_in_spring is not None:
            return short_date(f.last_in_spring) + (" so far" if f.may_yet_be_later else "")
        return "none yet" if f.may_yet_be_later else "none" if f.no_frost_in_spring else None

    def autumn(f: SeasonFrost) -> str | None:
        when = f.first_in_autumn
        return short_date(when) if when is not None else "none" if f.no_frost_in_autumn else None

    columns = [
        attribute("season", "season"),
        Column("last_in_spring", "text", spring, title="last in spring"),
        Column("first_in_autumn", "text", autumn, title="first in autumn"),
        Column[Any]("days_between", "whole", lambda f: f.days_between, title="days between"),
    ]
    places: dict[str, list[SeasonFrost]] = {}
    for one in frosts:
        places.setdefault(one.place, []).append(one)
    return {place: _table(columns, mine, garden) for place, mine in places.items()}


def _frost_lines(frosts: Iterable[SeasonFrost], garden: Garden) -> Iterator[str]:
    tables = frost_tables(frosts, garden)
    for place, table in list(tables.items())[:PLACES_SHOWN]:
        yield f"Frosts, {place}"
        yield table.as_text(WIDTH)
    if len(tables) > PLACES_SHOWN:
        yield f"Frosts of {len(tables) - PLACES_SHOWN} more places: --csv --table frosts"


@dataclass(frozen=True)
class StageRow:
    """A stage of a flush with its dates, seasons across.

    Attributes
    ----------
    flush : int
    stage, counted_from : str
        In words; `counted_from` is empty where no season has the flush's own warmth.
    cells : tuple of StageDate or None
    heat : tuple of float or None
        Degree-days, of the seasons that count them from there. [degC d]
    """

    flush: int
    stage: str
    counted_from: str
    cells: tuple[StageDate | None, ...]
    heat: tuple[float | None, ...]


def stage_rows(stages: Sequence[StageDate], seasons: Sequence[int], garden: Garden) -> Iterator[StageRow]:
    """The dates of one species or tree, seasons across, in the order of flushes and stages."""
    start = short_date(garden.calendar.start(garden.season))
    words = {"start": f"from {start}", "work": "from the work", "budbreak": "from bud break"}
    for flush in sorted({s.flush for s in stages}):
        for stage in TARGETS:
            mine = {s.season: s for s in stages if (s.flush, s.stage) == (flush, stage)}
            if any(season in mine for season in seasons):
                counts = Counter(s.counted_from for s in mine.values() if s.degree_days is not None)
                since = next(iter(counts.most_common(1)), (None, 0))[0]
                cells = tuple(map(mine.get, seasons))
                heat = tuple(s.degree_days if s and s.counted_from == since else None for s in cells)
                yield StageRow(flush, STAGES[stage], words[since] if since else "", cells, heat)


def latest_first(seasons: Iterable[int], at_once: int) -> Iterator[Sequence[int]]:
    """Seasons in stretches that fit beside each other, the latest stretch first.

    Examples
    --------
    >>> list(latest_first([2021, 2022, 2023, 2024, 2025], 2))
    [[2024, 2025], [2022, 2023], [2021]]
    """
    order = sorted(set(seasons))
    for stop in range(len(order), 0, -at_once):
        yield order[max(0, stop - at_once) : stop]


def _stage_lines(
    groups: Mapping[str, Sequence[StageDate]], garden: Garden, units: str, with_heat: bool
) -> Iterator[str]:
    shown = [one for stages in groups.values() for one in stages]
    wide = max(len(_dated(one)) for one in shown) + 2
    for n, seasons in enumerate(latest_first((s.season for s in shown), (WIDTH - STAGE_WIDE + 2) // wide)):
        rows: list[tuple[str, ...]] = []
        for name, stages in groups.items():
            rows += [(name, *[""] * len(seasons))] if name else []
            for row in stage_rows(stages, seasons, garden):
                flush = f", flush {row.flush}" if row.flush > 1 else ""
                rows.append((f"  {row.stage}{flush}", *(_dated(s) if s else "." for s in row.cells)))
                if with_heat and row.counted_from:
                    rows.append((f"    {row.counted_from}", *(shown_heat(heat, units) for heat in row.heat)))
        yield ("\n" if n else "") + grid(["", *map(garden.calendar.label, seasons)], rows, WIDTH)


def _species_lines(comparison: Comparison, units: str, every_stage: bool) -> Iterator[str]:
    garden = comparison.garden
    shown = [s for s in comparison.stages if every_stage or s.flush == 1 or s.stage == "hardened"]
    groups = {
        common_name(latin, garden): [s for s in shown if s.species == latin]
        for latin in dict.fromkeys(s.species for s in shown)
    }
    if not groups:
        yield "No stage was seen to come between two looks in these seasons."
    else:
        yield from _stage_lines(groups, garden, units, every_stage)
        yield from _legend(shown, units, every_stage)
    yield from _wrapped(loose_words(comparison))
    if groups and not every_stage:
        yield "Every stage and the warmth it took: --stages; tree by tree: --tree NAME."


def _dated(one: StageDate) -> str:
    return short_date(one.date) + ("" if one.days_ahead is None else f" {signed(one.days_ahead)}")


def shown_heat(heat: float | None, units: str) -> str:
    """Degree-days in the garden's units; a point where they are not known."""
    return "." if heat is None else whole(in_units(heat, "degree_days", units))


def _legend(stages: Iterable[StageDate], units: str, with_heat: bool) -> list[str]:
    words = []
    if any(one.days_ahead is not None for one in stages):
        words.append("Beside each date: days ahead (+) of or behind (-) the same trees' other seasons.")
    if with_heat and any(one.degree_days is not None for one in stages):
        words.append(f"Below it: degree-days above {base_words(units)}.")
    return _wrapped(" ".join(words))


def loose_words(comparison: Comparison, trees: Collection[str] | None = None) -> str:
    """How many stages lie between looks too far apart to date them, of the trees with these ids or all."""
    of = Counter(tree.label for tree, _ in comparison.loose if trees is None or tree.id in trees)
    if not of:
        return ""
    most = [label for label, _ in of.most_common(3)]
    named = listed([*most, *([f"{len(of) - 3} more trees"] if len(of) > 3 else [])])
    weeks = f"{WIDEST_DAYS / 7:.0f} weeks"
    return f"Not dated: {counted(of.total(), 'stage')} of {named}, between looks more than {weeks} apart."


def truth_table(truth: Sequence[SeasonTruth], garden: Garden) -> Table[Any]:
    """How far off the forecasts of each season were, beside the usual date."""

    def first(t: SeasonTruth) -> str:
        leaning = f" ({abs(t.late):.0f} {'late' if t.late > 0 else 'early'})" if round(t.late) else ""
        return f"{t.missed:.0f}{leaning}"

    def days(value: float) -> str:
        return "." if math.isnan(value) else f"{value:.0f}"

    columns = [
        attribute("season", "season"),
        attribute("flushes", "whole"),
        Column("median_miss", "text", first, title="first forecast"),
        Column[Any]("near", "number", lambda t: t.missed_near, title="last 3 weeks", show=days),
        Column[Any]("usual", "number", lambda t: t.usual_missed, title="usual date", show=days),
        Column[Any]("held", "number", lambda t: t.held, title="held", show=lambda share: f"{share:.0%}"),
    ]
    return _table(columns, truth, garden)


def _truth_lines(truth: Sequence[SeasonTruth], garden: Garden) -> Iterator[str]:
    if truth:
        yield "Forecasts of the first hardening against what came, each made without its"
        yield "season: median misses in days"
        yield truth_table(truth, garden).as_text(WIDTH)
        yield from _wrapped(TRUTH_NOTE)


@dataclass(frozen=True)
class FollowedRow:
    """An operation on a species and what followed.

    Attributes
    ----------
    operation : str
        In words.
    works, silent : int
        Times it was done, and times after which nothing was written down.
    cells : tuple of str
        Days to each of `TARGETS`: the median, and the least and most.
    """

    operation: str
    works: int
    silent: int
    cells: tuple[str, ...]


def followed_groups(followed: Iterable[Followed], garden: Garden) -> dict[str, list[FollowedRow]]:
    """What followed work, under the name of each species."""
    groups: dict[str, list[FollowedRow]] = {}
    for f in followed:
        cells = tuple(_days_after(f.days.get(stage)) for stage in TARGETS)
        row = FollowedRow(f.operation.replace("-", " "), f.works, f.works - f.flushed, cells)
        groups.setdefault(common_name(f.species, garden), []).append(row)
    return groups


def _days_after(days: DaysAfter | None) -> str:
    if days is None:
        return "."
    return f"{days.median:.0f}" + (f" ({days.least:.0f}-{days.most:.0f})" if days.n > 1 else "")


def _followed_lines(followed: Sequence[Followed], garden: Garden) -> Iterator[str]:
    rows: list[Sequence[str]] = []
    for name, works in followed_groups(followed, garden).items():
        rows.append((name, "", "", ""))
        for row in works:
            times = f"{row.works} times" if row.works > 1 else "once"
            rows.append((f"  {row.operation}, {times}", *row.cells))
            if row.silent:
                one = "of what followed" if row.works == 1 else f"after {row.silent} of them"
                rows.append((f"  (nothing written {one})", "", "", ""))
    if rows:
        yield "Work and what followed: days to each stage, the middle one and the range"
        yield grid(["", *HARD.values()], rows, WIDTH)


def trend_rows(trends: Sequence[Trend], garden: Garden) -> Iterator[tuple[str, str]]:
    """What has a trend, and the trend, in words; species of which too little is known are summed up."""
    few = [t for t in trends if t.species is not None and t.days_per_decade is None]
    for trend in trends:
        if trend not in few:
            yield _trend_name(trend, garden), trend_words(trend)
    if few:
        most = f"{max(t.seasons for t in few)} of {FEWEST_SEASONS} at most"
        yield f"stages of {len({t.species for t in few})} species", f"too few seasons to say ({most})"


def trend_words(trend: Trend) -> str:
    """Days a decade with the 95 % interval, or that it cannot be said yet."""
    if trend.days_per_decade is None or trend.low95 is None or trend.high95 is None:
        return f"too few seasons to say ({trend.seasons} of {FEWEST_SEASONS})"
    side = "later" if trend.days_per_decade > 0 else "earlier"
    clear = "" if trend.low95 > 0 or trend.high95 < 0 else ", so perhaps no change"
    return (
        f"{abs(trend.days_per_decade):.1f} days {side} a decade ({trend.low95:+.1f} to {trend.high95:+.1f}"
        f"{clear}), {trend.seasons} seasons"
    )


def _trend_name(trend: Trend, garden: Garden) -> str:
    if trend.species is not None:
        return f"{common_name(trend.species, garden)}, {HARD[trend.what]}"
    if trend.what == "warmth":
        return (
            f"warmth that is usual by {short_date(garden.calendar.date(garden.season, garden.today))} comes"
        )
    return "half the warmth of a usual season comes" if trend.what == "half the warmth" else trend.what


def _trend_lines(trends: Sequence[Trend], garden: Garden) -> Iterator[str]:
    if trends:
        yield "Trends, with the interval that holds the truth in 95 of 100 such records"
    for what, words in trend_rows(trends, garden):
        yield from textwrap.wrap(
            f"  {what}: {words}", WIDTH, subsequent_indent="    ", break_on_hyphens=False
        )


def common_name(latin: str, garden: Garden) -> str:
    """A species as growers call it; its Latin name where the catalogue has no other."""
    return garden.species[latin].name if latin in garden.species else latin


def base_words(units: str) -> str:
    """The base of the degree-days in the garden's units."""
    return f"{c_to_f(BASE_C):.0f} degF" if units == "F" else f"{BASE_C:.0f} degC"


def signed(days: float | None) -> str:
    """Days ahead with their sign; a point where they cannot be said.

    Examples
    --------
    >>> signed(3.6), signed(-0.2), signed(None)
    ('+4', '0', '.')
    """
    if days is None:
        return "."
    return f"{round(days):+d}" if round(days) else "0"


def whole(number: float) -> str:
    """A number without decimals."""
    return f"{number:.0f}"


def counted(number: int, what: str) -> str:
    """So many of something.

    Examples
    --------
    >>> counted(1, "day"), counted(2, "day")
    ('1 day', '2 days')
    """
    return f"{number} {what}{'' if number == 1 else 's'}"


def _table(
    columns: Sequence[Column[Any]], rows: Iterable[Any], garden: Garden, units: str = "C"
) -> Table[Any]:
    return Table("", columns, rows, units=units, season_label=garden.calendar.label)


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH)
