"""Seasons side by side as text at 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import date

from phenology.garden import Garden
from phenology.judging.season_errors import SeasonErrors
from phenology.language.degrees import degrees
from phenology.seasons.compare import Comparison, SeasonFrost
from phenology.seasons.season_heat import BASE_C
from phenology.seasons.tree_stages import Followed, StageDate
from phenology.seasons.trends import Trend
from reports.table import grid
from reports.views import compare_tables as tables
from reports.views.words import MONTHS, short_date

WIDTH = 80
STAGE_WIDE = 22
PLACES_SHOWN = 3
METHOD = "How this is reckoned: docs/method.md, section 7."
POINT = "A point: too cool a time of year to say, or warmer already than a usual season."


def compare_text(
    comparison: Comparison,
    units: str,
    errors: Sequence[SeasonErrors],
    followed: Sequence[Followed],
    trends: Sequence[Trend],
    *,
    every_stage: bool = False,
) -> str:
    """Warmth first, then frosts, the dates by species, past forecasts, what followed work, and trends.

    What is empty is left out; `every_stage` tells those of later flushes too, and the warmth that each took.
    """
    garden = comparison.garden
    weather = f"Weather: {'; '.join(garden.attribution)}." if garden.attribution else ""
    parts = [
        _warmth(comparison, units),
        _frosts(comparison.frosts, garden),
        _species(comparison, units, every_stage),
        _errors(errors, garden),
        _followed(followed, garden),
        _trends(trends, garden),
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
            lines += [name, *_stages({"": mine}, garden, units, True), ""]
        else:
            lines += _wrapped(f"{name}: no stage was seen to come between two looks in these seasons")
    return "\n".join([*lines, *_wrapped(tables.loose_words(comparison, trees)), *_legend(seen, units, True)])


def _warmth(comparison: Comparison, units: str) -> Iterator[str]:
    garden, days = comparison.garden, _lead_days(comparison)
    until, of_all = short_date(garden.as_of), max(h.of_all for h in comparison.warmth)
    words = (
        f"Warmth to {until}, {comparison.place}: degree-days above {degrees(BASE_C, units)}, "
        f"rank of {of_all} seasons"
    )
    if days:
        also = f" and on {until}" if any(name == until for name, _ in days) else ""
        words += f", and days ahead (+) of or behind (-) usual at the end of each month{also}"
    yield from _wrapped(words)
    yield tables.warmth_table(comparison, units, days).as_text(WIDTH)
    for note in tables.warmth_notes(comparison):
        yield from _wrapped(note)
    past = [s for s in comparison.seasons if s < garden.season]
    if any(comparison.ahead_on(s, day) is None for s in past for _, day in days):
        yield POINT


def _lead_days(comparison: Comparison) -> list[tuple[str, int]]:
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


def _frosts(frosts: Iterable[SeasonFrost], garden: Garden) -> Iterator[str]:
    by_place = tables.frost_tables(frosts, garden)
    for place, table in list(by_place.items())[:PLACES_SHOWN]:
        yield f"Frosts, {place}"
        yield table.as_text(WIDTH)
    if len(by_place) > PLACES_SHOWN:
        yield f"Frosts of {len(by_place) - PLACES_SHOWN} more places: --csv --table frosts"


def _species(comparison: Comparison, units: str, every_stage: bool) -> Iterator[str]:
    garden = comparison.garden
    shown = [s for s in comparison.stages if every_stage or s.flush == 1 or s.stage == "hardened"]
    groups = {
        tables.common_name(latin, garden): [s for s in shown if s.species == latin]
        for latin in dict.fromkeys(s.species for s in shown)
    }
    if not groups:
        yield "No stage was seen to come between two looks in these seasons."
    else:
        yield from _stages(groups, garden, units, every_stage)
        yield from _legend(shown, units, every_stage)
    yield from _wrapped(tables.loose_words(comparison))
    if groups and not every_stage:
        yield "Every stage and the warmth it took: --stages; tree by tree: --tree NAME."


def _stages(
    groups: Mapping[str, Sequence[StageDate]], garden: Garden, units: str, with_heat: bool
) -> Iterator[str]:
    shown = [one for stages in groups.values() for one in stages]
    wide = max(len(_dated(one)) for one in shown) + 2
    for n, seasons in enumerate(
        tables.latest_first((s.season for s in shown), (WIDTH - STAGE_WIDE + 2) // wide)
    ):
        rows: list[tuple[str, ...]] = []
        for name, stages in groups.items():
            rows += [(name, *[""] * len(seasons))] if name else []
            for row in tables.stage_rows(stages, seasons, garden):
                flush = f", flush {row.flush}" if row.flush > 1 else ""
                rows.append((f"  {tables.STAGES[row.stage]}{flush}", *map(_dated, row.dates)))
                if with_heat and row.counted_from:
                    rows.append(
                        (f"    {row.counted_from}", *(tables.shown_heat(heat, units) for heat in row.heat))
                    )
        yield ("\n" if n else "") + grid(["", *map(garden.calendar.label, seasons)], rows, WIDTH)


def _dated(one: StageDate | None) -> str:
    if one is None:
        return "."
    return short_date(one.date) + ("" if one.days_ahead is None else f" {tables.signed(one.days_ahead)}")


def _legend(stages: Iterable[StageDate], units: str, with_heat: bool) -> list[str]:
    words = []
    if any(one.days_ahead is not None for one in stages):
        words.append("Beside each date: days ahead (+) of or behind (-) the same trees' other seasons.")
    if with_heat and any(one.degree_days is not None for one in stages):
        words.append(f"Below it: degree-days above {degrees(BASE_C, units)}.")
    return _wrapped(" ".join(words))


def _errors(errors: Sequence[SeasonErrors], garden: Garden) -> Iterator[str]:
    if errors:
        yield "Forecasts of the first hardening against what came, each made without its"
        yield "season: median misses in days"
        yield tables.errors_table(errors, garden).as_text(WIDTH)
        yield from _wrapped(tables.ERRORS_NOTE)


def _followed(followed: Sequence[Followed], garden: Garden) -> Iterator[str]:
    rows: list[Sequence[str]] = []
    for name, works in tables.followed_groups(followed, garden).items():
        rows.append((name, "", "", ""))
        for row in works:
            times = f"{row.works} times" if row.works > 1 else "once"
            rows.append((f"  {row.operation}, {times}", *row.cells))
            if row.silent:
                one = "of what followed" if row.works == 1 else f"after {row.silent} of them"
                rows.append((f"  (nothing written {one})", "", "", ""))
    if rows:
        yield "Work and what followed: days to each stage, the middle one and the range"
        yield grid(["", *tables.HARD.values()], rows, WIDTH)


def _trends(trends: Sequence[Trend], garden: Garden) -> Iterator[str]:
    if trends:
        yield "Trends, with the interval that holds the truth in 95 of 100 such records"
    for what, words in tables.trend_rows(trends, garden):
        yield from textwrap.wrap(
            f"  {what}: {words}", WIDTH, subsequent_indent="    ", break_on_hyphens=False
        )


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH)
