"""A hindcast as P.csv, and its scores as a short table."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from phenology.errors import StoreError
from phenology.judging.hindcast import Hindcast, Question, observed, quantile_table
from phenology.judging.scoring_rules import skill
from phenology.judging.verification import paired_by_season, score_dates
from phenology.season import SeasonCalendar

Array = NDArray[np.float64]

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


def score_lines(result: Hindcast, question: Question, calendar: SeasonCalendar) -> list[str]:
    """What the hindcast scored, beside the two usual rivals, as lines of text."""
    between = observed(result.rows)
    scored: NDArray[np.bool_] = np.asarray(np.isfinite(between).all(axis=1))
    lines = _counts(result, calendar, int(scored.sum()))
    if not scored.any():
        return [*lines, f"None of them saw {question.target} between two looks, so nothing can be scored."]
    left, right = between[scored, 0], between[scored, 1]
    season = [row.wait.season for row, ok in zip(result.rows, scored, strict=True) if ok]
    tables = {
        "flushcast": quantile_table(result.rows)[scored],
        "same date as usual": np.array([row.usual for row in result.rows])[scored],
        f"usual days after {question.given}, by its date": np.array([r.usual_days for r in result.rows])[
            scored
        ],
    }
    lines.append(f"{'':42}{'MAE':>7}{'CRPS':>7}{'pit50':>7}{'pit80':>7}{'skill':>7}")
    ours = score_dates(tables["flushcast"], left, right)
    for name, table in tables.items():
        usable = np.isfinite(table).all(axis=1)
        if not usable.any():
            lines.append(f"{name:42}  no past season to say what is usual")
            continue
        scores = score_dates(table[usable], left[usable], right[usable])
        means = scores.means()
        saved = "" if name == "flushcast" else f"{_skill(ours.crps[usable], scores.crps):7.2f}"
        lines.append(
            f"{name:42}{means['mae_mid']:7.2f}{means['crps']:7.2f}{means['pit50']:7.2f}"
            f"{means['pit80']:7.2f}{saved}"
        )
    lines.append("MAE of the median and CRPS in days; pit50 and pit80 are .50 and .80 for an honest spread;")
    lines.append("skill is the share of the rival's CRPS that flushcast saves.")
    usual = score_dates(tables["same date as usual"], left, right) if len(set(season)) > 1 else None
    if usual is not None and np.isfinite(usual.crps).all():
        paired = paired_by_season(ours.crps, usual.crps, season)
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
