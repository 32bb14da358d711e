"""A hindcast as P.csv, and its scores as a short table."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from phenology.judging.hindcast import Hindcast, Question, observed, quantile_table
from phenology.judging.verification import paired_by_season, score_dates, skill
from phenology.model.arrays import Array
from phenology.model.errors import StoreError
from phenology.model.season import SeasonCalendar

COLUMNS = (
    "species", "tree", "season", "flush", "given", "target", "issued",
    "q10", "q25", "q50", "q75", "q90", "p_not",
)  # fmt: skip


def write_predictions(path: Path, result: Hindcast, question: Question) -> None:
    """Write one line a forecast; `q*` are decimal days of the season, `issued` an ISO date.

    Raises
    ------
    StoreError
        If the file cannot be written.
    """
    try:
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerow(COLUMNS)
            for row in result.rows:
                writer.writerow([
                    row.wait.species, row.wait.tree, row.wait.season, row.flush, question.given,
                    question.target, row.issued.isoformat(), *(f"{q:.3f}" for q in row.quantiles),
                    f"{row.p_not:.4f}",
                ])  # fmt: skip
    except OSError as error:
        raise StoreError(f"cannot write {path}: {error.strerror or error}") from None


@dataclass(frozen=True)
class Scored:
    """What one way of forecasting scored on the rows seen to come between two looks.

    Attributes
    ----------
    name : str
    rows : int
        Rows it had a forecast for.
    means : dict of measure to float
        As `DateScores.means`; empty where it had none.
    saved : float or None
        Share of its CRPS that flushcast saves; None for flushcast itself.
    crps : ndarray
        Each row's, NaN where it had no forecast. [d]
    """

    name: str
    rows: int
    means: dict[str, float]
    saved: float | None
    crps: Array


def scored(result: Hindcast, question: Question) -> list[Scored]:
    """Flushcast first, then its two usual rivals, on the rows that looks bracket; none without such rows."""
    between = observed(result.rows)
    inside: NDArray[np.bool_] = np.asarray(np.isfinite(between).all(axis=1))
    if not inside.any():
        return []
    left, right = between[inside, 0], between[inside, 1]
    tables = {
        "flushcast": quantile_table(result.rows)[inside],
        "same date as usual": np.array([row.usual for row in result.rows])[inside],
        f"usual days after {question.given}, by its date": np.array([r.usual_days for r in result.rows])[
            inside
        ],
    }
    out: list[Scored] = []
    for name, table in tables.items():
        usable = np.isfinite(table).all(axis=1)
        crps, means, saved = np.full(len(table), np.nan), {}, None
        if usable.any():
            scores = score_dates(table[usable], left[usable], right[usable])
            crps[usable], means = scores.crps, scores.means()
            saved = _skill(out[0].crps[usable], scores.crps) if out else None
        out.append(Scored(name, int(usable.sum()), means, saved, crps))
    return out


def score_lines(result: Hindcast, question: Question, calendar: SeasonCalendar) -> list[str]:
    """What the hindcast scored, beside the two usual rivals, as lines of text."""
    told = scored(result, question)
    lines = _counts(result, calendar, told[0].rows if told else 0)
    if not told:
        return [*lines, f"None of them saw {question.target} between two looks, so nothing can be scored."]
    lines.append(f"{'':42}{'MAE':>7}{'CRPS':>7}{'pit50':>7}{'pit80':>7}{'skill':>7}")
    for one in told:
        if not one.rows:
            lines.append(f"{one.name:42}  no past season to say what is usual")
            continue
        saved = "" if one.saved is None else f"{one.saved:7.2f}"
        lines.append(
            f"{one.name:42}{one.means['mae_mid']:7.2f}{one.means['crps']:7.2f}{one.means['pit50']:7.2f}"
            f"{one.means['pit80']:7.2f}{saved}"
        )
    lines.append("MAE of the median and CRPS in days; pit50 and pit80 are .50 and .80 for an honest spread;")
    lines.append("skill is the share of the rival's CRPS that flushcast saves.")
    season = [
        row.wait.season
        for row, between in zip(result.rows, observed(result.rows), strict=True)
        if np.isfinite(between).all()
    ]
    ours, usual = told[0].crps, told[1].crps
    if len(set(season)) > 1 and np.isfinite(usual).all():
        paired = paired_by_season(ours, usual, season)
        difference = f"{paired.mean:+.2f} +- {paired.standard_error:.2f} days"
        lines.append(f"CRPS against the usual date, paired by season: {difference}.")
    return lines


def _skill(ours: Array, rival: Array) -> float:
    return float(skill(ours.mean(), rival.mean()))


def _counts(result: Hindcast, calendar: SeasonCalendar, scored: int) -> list[str]:
    rows = len(result.rows)
    seasons = sorted({row.wait.season for row in result.rows})
    lines = [f"n = {rows} tree-seasons forecast in {len(seasons)} seasons, {scored} of them scored"]
    if result.already:
        lines.append(f"{result.already} more already showed the target at the first look and get no forecast")
    if result.filled_days:
        lines.append(
            f"{result.filled_days} days of weather were missing and filled, with wider ranges for it"
        )
    if result.no_weather:
        labels = ", ".join(calendar.label(s) for s in result.no_weather)
        lines.append(f"seasons without any weather, left out: {labels}")
    lines += _skipped(result.skipped)
    return lines


def _skipped(skipped: Sequence[str]) -> list[str]:
    if not skipped:
        return []
    return [
        f"{len(skipped)} flushes with looks that go backward, left out:",
        *(f"  {line}" for line in skipped),
    ]
