"""A hindcast as tables: its forecasts (P.csv), its scores beside two plain rivals, and what was counted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, NamedTuple

import numpy as np

from phenology.forecasting.arrival import LEVELS
from phenology.judging.hindcast import (
    START,
    Hindcast,
    HindcastRow,
    Question,
    observed,
    quantile_table,
)
from phenology.judging.verification import paired_by_season, score_dates, skill
from phenology.model.arrays import Array
from phenology.model.season import SeasonCalendar
from reports.table import Column, Table, attribute, each

WIDTH = 80
SEEN = ("median", "after_day", "by_day")  # columns that P.csv has not: LOOKS.csv tells them


class Forecast(NamedTuple):
    """One forecast, its median as a date, and between which days the target was seen to come."""

    made: HindcastRow
    question: Question
    median: date
    after: float
    by: float


QUANTILES = {f"q{round(level * 100)}": "" for level in LEVELS} | {
    "q10": "decimal day of the season by which it has come so likely; its last day + 1 past its end"
}


FORECASTS: tuple[Column[Any], ...] = (
    attribute("species", "text", of="made.wait.species"),
    attribute("tree", "text", "its label", of="made.wait.tree"),
    attribute("season", "whole", of="made.wait.season"),
    attribute("flush", "whole", of="made.flush"),
    attribute("given", "text", "the stage whose first sight issued it", of="question.given"),
    attribute("target", "text", "the stage forecast", of="question.target"),
    attribute("issued", "date", of="made.issued"),
    *each(QUANTILES, "number", lambda row, k: row.made.quantiles[k], digits=3),
    attribute("p_not", "number", "chance that it does not come", 4, of="made.p_not"),
    attribute("median", "date", "q50 as a date"),
    attribute("after_day", "number", "seen to come after this day of the season", of="after"),
    attribute("by_day", "number", "and by this one; infinite: never seen", of="by"),
)


def forecasts(result: Hindcast, question: Question, calendar: SeasonCalendar) -> Iterator[Forecast]:
    """One row a tree-season."""
    for row, end in zip(result.rows, observed(result.rows).tolist(), strict=True):
        yield Forecast(row, question, calendar.date(row.wait.season, row.quantiles[2]), *end)


def predictions_csv(rows: Iterable[Forecast]) -> str:
    """The forecasts as P.csv has them, one line each."""
    return Table("", FORECASTS, rows).as_csv(without=SEEN)


@dataclass(frozen=True)
class Scored:
    """What one way of forecasting scored on the rows seen to come between two looks.

    `means` are `DateScores.means`, `crps` each row's [d], NaN where it had no forecast; `saved` is the share
    of its CRPS that flushcast saves, None for flushcast itself.
    """

    forecaster: str
    rows: int
    means: dict[str, float]
    saved: float | None
    crps: Array


def scored(result: Hindcast, question: Question) -> list[Scored]:
    """Flushcast first, then its two usual rivals, on the rows that looks bracket; none without such rows."""
    ends = observed(result.rows)
    inside = np.asarray(np.isfinite(ends).all(axis=1))
    if not inside.any():
        return []
    left, right = ends[inside].T
    tables = {
        "flushcast": quantile_table(result.rows),
        "same date as usual": np.array([row.usual for row in result.rows]),
    }
    if question.given != START:  # from there the usual days are the usual date
        after = f"usual days after {question.given}, by its date"
        tables[after] = np.array([row.usual_days for row in result.rows])
    out: list[Scored] = []
    for name, table in tables.items():
        usable = np.isfinite(table[inside]).all(axis=1)
        crps, means, saved = np.full(len(left), np.nan), {}, None
        if usable.any():
            scores = score_dates(table[inside][usable], left[usable], right[usable])
            crps[usable], means = scores.crps, scores.means()
            saved = float(skill(out[0].crps[usable].mean(), scores.crps.mean())) if out else None
        out.append(Scored(name, int(usable.sum()), means, saved, crps))
    return out


def _mean(name: str, of: str, title: str, meaning: str) -> Column[Scored]:
    return Column(name, "number", lambda s: s.means.get(of), meaning, title=title, show="{:.2f}".format)


SCORES: tuple[Column[Scored], ...] = (
    Column("forecaster", "text", lambda s: s.forecaster, "flushcast first", title=""),
    Column("rows", "whole", lambda s: s.rows, "it had a forecast for"),
    _mean("mae_days", "mae_mid", "MAE", "of the median"),
    _mean("crps_days", "crps", "CRPS", ""),
    _mean("pit50", "pit50", "pit50", ".50 for an honest spread"),
    _mean("pit80", "pit80", "pit80", ".80 for an honest spread"),
    _mean("w80_days", "w80", "w80", "width of the 80 % range"),
    Column("crps_saved", "number", lambda s: s.saved, "share of that rival's CRPS that flushcast saves",
           title="skill", show="{:.2f}".format),
)  # fmt: skip
COUNTS: tuple[Column[tuple[str, int]], ...] = (
    Column("what", "text", lambda row: row[0], "forecasts, or what was left out or filled on the way"),
    Column("count", "whole", lambda row: row[1]),
)


def counts(result: Hindcast) -> Iterator[tuple[str, int]]:
    """What was counted on the way: rows, and what has none."""
    yield "forecasts", len(result.rows)
    yield "target shown already", result.already
    yield "looks go backward", len(result.skipped)
    yield "days of weather filled", result.filled_days
    yield "seasons without weather", len(result.no_weather)


def score_text(result: Hindcast, question: Question, calendar: SeasonCalendar) -> str:
    """What the hindcast scored, beside the two usual rivals, as text."""
    rows = scored(result, question)
    seasons = {row.wait.season for row in result.rows}
    lines = [
        f"n = {len(result.rows)} forecasts of tree-seasons in {len(seasons)} seasons, "
        f"{rows[0].rows if rows else 0} of them scored"
    ]
    if result.already:
        lines.append(f"{result.already} more already showed the target at the first look and get no forecast")
    if result.filled_days:
        lines.append(
            f"{result.filled_days} days of weather were missing and filled, with wider ranges for it"
        )
    if result.no_weather:
        labels = ", ".join(map(calendar.label, result.no_weather))
        lines.append(f"seasons without any weather, left out: {labels}")
    if result.skipped:
        lines.append(f"{len(result.skipped)} flushes with looks that go backward, left out:")
        lines += [f"  {line}" for line in result.skipped]
    if not rows:
        lines.append(f"None of them saw {question.target} between two looks, so nothing can be scored.")
        return "\n".join(lines)
    shown = ("forecaster", "mae_days", "crps_days", "pit50", "pit80", "crps_saved")
    lines.append(Table("", SCORES, rows).as_text(WIDTH, only=shown))
    lines += [f"{one.forecaster}: no past season to say what is usual" for one in rows if not one.rows]
    lines.append("MAE of the median and CRPS in days; pit50 and pit80 are .50 and .80 for an honest spread;")
    lines.append("skill is the share of the rival's CRPS that flushcast saves.")
    inside = np.flatnonzero(np.isfinite(observed(result.rows)).all(axis=1))
    season = [result.rows[i].wait.season for i in inside]
    ours, usual = rows[0].crps, rows[1].crps
    if len(set(season)) > 1 and np.isfinite(usual).all():
        paired = paired_by_season(ours, usual, season)
        difference = f"{paired.mean:+.2f} +- {paired.standard_error:.2f} days"
        lines.append(f"CRPS against the usual date, paired by season: {difference}.")
    return "\n".join(lines)
