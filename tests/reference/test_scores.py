"""Scores of date forecasts against an independent scorer."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from pathlib import Path

import numpy as np
from numpy.testing import assert_allclose
from scipy.special import ndtri

from phenology.judging.verification import LEVELS, score_dates

QUANTILES = ("q10", "q25", "q50", "q75", "q90")

SCORE_INVENTED = """
import sys
import pandas as pd
from score import load_events, score
table, missing = score(pd.read_csv(sys.argv[1]), load_events([sys.argv[2]]), by="season")
table.to_csv(sys.stdout, float_format="%.12g")
"""


def invented_forecasts() -> tuple[list[dict[str, object]], list[dict[str, object]]]:
    """Predictions and events of an invented stand: good, poor, narrow and coinciding quantiles."""
    rng = np.random.default_rng(23)
    predictions, events = [], []
    for season in (2001, 2002, 2003):
        for tree in range(12):
            left = float(rng.integers(125, 150))
            centre, sd = left + 3 + rng.normal(0, 6), float(rng.choice([0.0, 0.4, 3.0, 7.0]))
            q = centre + sd * ndtri(np.array(LEVELS)) * np.where(np.array(LEVELS) > 0.5, 1.4, 1.0)
            key = {"species": "Invented arbor", "tree": f"T{tree}", "season": season}
            predictions.append(key | dict(zip(QUANTILES, q.round(6).tolist(), strict=True)))
            right = left + float(rng.integers(1, 9))
            events.append(
                key | {"event": "leaf75", "left_doy": left, "right_doy": right, "censoring": "interval"}
            )
    return predictions, events


def write(path: Path, rows: list[dict[str, object]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as out:
        table = csv.DictWriter(out, list(rows[0]))
        table.writeheader()
        table.writerows(rows)
    return path


def test_every_measure_agrees_with_an_independent_scorer(shared: Path, tmp_path: Path) -> None:
    predictions, events = invented_forecasts()
    files = write(tmp_path / "P.csv", predictions), write(tmp_path / "events_invented.csv", events)
    done = subprocess.run(
        [sys.executable, "-B", "-c", SCORE_INVENTED, *map(str, files)],  # -B: leave nothing behind there
        cwd=shared / "tools",
        capture_output=True,
        text=True,
        check=True,
    )
    theirs = [r for r in csv.DictReader(io.StringIO(done.stdout)) if r["model"] == "predictions"]
    assert [r["season"] for r in theirs] == ["2001", "2002", "2003", "POOLED"]
    for row in theirs:
        kept = [i for i, p in enumerate(predictions) if row["season"] in (str(p["season"]), "POOLED")]
        assert int(row["n"]) == len(kept)
        ours = score_dates(
            [[predictions[i][q] for q in QUANTILES] for i in kept],
            [events[i]["left_doy"] for i in kept],
            [events[i]["right_doy"] for i in kept],
        ).means()
        for measure, value in ours.items():
            assert_allclose(value, float(row[measure]), rtol=1e-9, atol=1e-9, err_msg=measure)
