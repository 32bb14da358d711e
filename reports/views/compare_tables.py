"""Tables and words of seasons side by side, as both the terminal and the page show them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Sequence
from typing import Any, NamedTuple

from phenology.garden import Garden
from phenology.judging.season_errors import SeasonErrors
from phenology.learning.flush_history import WIDEST_DAYS
from phenology.learning.transitions import TARGETS
from phenology.seasons.compare import Comparison, SeasonFrost
from phenology.seasons.tree_stages import DaysAfter, Followed, StageDate
from phenology.seasons.trends import FEWEST_SEASONS, Trend
from reports.table import Column, Table, in_units, picked
from reports.views.compare import COLUMNS
from reports.views.words import counted, listed, short_date

STAGES = {"budbreak": "bud break", "extended": "extended", "hardened": "hardened"}
HARD = STAGES | {"hardened": "hard"}
ERRORS_NOTE = (
    "First forecast: made at bud break where that was seen, else at the season's start. Held: how many of "
    "the ranges meant to hold four in five did; 80% is honest."
)


def warmth_table(comparison: Comparison, units: str, days: Iterable[tuple[str, int]]) -> Table[Any]:
    """Each season's warmth and rank by today, and its days ahead of usual on these days of it."""

    def lead(name: str, day: int) -> Column[Any]:
        return Column(name, "number", lambda h: comparison.ahead_on(h.season, day), show=signed)

    columns = picked(COLUMNS["warmth"], "season", "degree_days", "rank_of_all")
    label = comparison.garden.calendar.label
    leads = [lead(name, day) for name, day in days]
    return Table("", [*columns, *leads], comparison.warmth, units=units, season_label=label)


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
        f"{counted(h.days_filled, 'days')} of {label(h.season)}"
        for h in comparison.warmth
        if h.days_filled and h.degree_days is not None
    ]
    if filled:
        yield f"Not measured, and filled from the usual year: {', '.join(filled)}."


def frost_tables(frosts: Iterable[SeasonFrost], garden: Garden) -> dict[str, Table[SeasonFrost]]:
    """The last and first frosts of each season, place by place."""

    def spring(f: SeasonFrost) -> str | None:
        if f.last_in_spring is not None:
            return short_date(f.last_in_spring) + (" so far" if f.may_yet_be_later else "")
        return "none yet" if f.may_yet_be_later else "none" if f.no_frost_in_spring else None

    def autumn(f: SeasonFrost) -> str | None:
        when = f.first_in_autumn
        return short_date(when) if when is not None else "none" if f.no_frost_in_autumn else None

    season, between = picked(COLUMNS["frosts"], "season", "days_between")
    last = Column[SeasonFrost]("last_in_spring", "text", spring, title="last in spring")
    first = Column[SeasonFrost]("first_in_autumn", "text", autumn, title="first in autumn")
    columns = (season, last, first, between)
    places: dict[str, list[SeasonFrost]] = {}
    for one in frosts:
        places.setdefault(one.place, []).append(one)
    label = garden.calendar.label
    return {place: Table("", columns, mine, season_label=label) for place, mine in places.items()}


class StageRow(NamedTuple):
    """A stage of a flush, seasons across: its dates, and the degree-days of seasons that count them alike.

    `counted_from` is in words, empty where no season has the flush's own warmth.
    """

    flush: int
    stage: str
    counted_from: str
    dates: tuple[StageDate | None, ...]
    heat: tuple[float | None, ...]


def stage_rows(stages: Sequence[StageDate], seasons: Sequence[int], garden: Garden) -> Iterator[StageRow]:
    """The dates of one species or tree, seasons across, in the order of flushes and stages."""
    start = short_date(garden.calendar.start(garden.season))
    words = {"start": f"from {start}", "work": "from the work", "budbreak": "from bud break"}
    for flush in sorted({s.flush for s in stages}):
        for stage in TARGETS:
            mine = {s.season: s for s in stages if (s.flush, s.stage) == (flush, stage)}
            dates = tuple(map(mine.get, seasons))
            if any(dates):
                counts = Counter(s.counted_from for s in mine.values() if s.degree_days is not None)
                since = next(iter(counts.most_common(1)), (None, 0))[0]
                heat = tuple(s.degree_days if s and s.counted_from == since else None for s in dates)
                yield StageRow(flush, stage, words[since] if since else "", dates, heat)


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


def loose_words(comparison: Comparison, trees: Collection[str] | None = None) -> str:
    """How many stages lie between looks too far apart to date them, of the trees with these ids or all."""
    of = Counter(tree.label for tree, _ in comparison.loose if trees is None or tree.id in trees)
    if not of:
        return ""
    most = [label for label, _ in of.most_common(3)]
    named = listed([*most, *([f"{len(of) - 3} more trees"] if len(of) > 3 else [])])
    weeks = f"{WIDEST_DAYS / 7:.0f} weeks"
    return f"Not dated: {counted(of.total(), 'stages')} of {named}, between looks more than {weeks} apart."


def errors_table(errors: Sequence[SeasonErrors], garden: Garden) -> Table[SeasonErrors]:
    """How far off the forecasts of each season were, beside the usual date."""

    def first(t: SeasonErrors) -> str:
        leaning = f" ({abs(t.late):.0f} {'late' if t.late > 0 else 'early'})" if round(t.late) else ""
        return f"{t.missed:.0f}{leaning}"

    names = ("median_miss_last_3_weeks", "median_miss_of_usual_date", "share_inside_80")
    columns = (
        *picked(COLUMNS["forecasts"], "season", "flushes"),
        Column[SeasonErrors]("first", "text", first, title="first forecast"),
        *picked(COLUMNS["forecasts"], *names),
    )
    return Table("", columns, errors, season_label=garden.calendar.label)


class FollowedRow(NamedTuple):
    """An operation, times it was done and times without a word after, and days to each of `TARGETS`."""

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
    interval = f"({trend.low95:+.1f} to {trend.high95:+.1f}{clear})"
    return f"{abs(trend.days_per_decade):.1f} days {side} a decade {interval}, {trend.seasons} seasons"


def _trend_name(trend: Trend, garden: Garden) -> str:
    if trend.species is not None:
        return f"{common_name(trend.species, garden)}, {HARD[trend.what]}"
    if trend.what == "warmth":
        return f"warmth that is usual by {short_date(garden.as_of)} comes"
    return "half the warmth of a usual season comes" if trend.what == "half the warmth" else trend.what


def common_name(latin: str, garden: Garden) -> str:
    """A species as growers call it; its Latin name where the catalogue has no other."""
    return garden.species[latin].name if latin in garden.species else latin


def shown_heat(heat: float | None, units: str) -> str:
    """Degree-days in the garden's units; a point where they are not known."""
    return "." if heat is None else f"{in_units(heat, 'degree_days', units):.0f}"


def signed(days: float | None) -> str:
    """Days ahead with their sign; a point where they cannot be said.

    Examples
    --------
    >>> signed(3.6), signed(-0.2), signed(None)
    ('+4', '0', '.')
    """
    return "." if days is None else f"{round(days):+d}" if round(days) else "0"
