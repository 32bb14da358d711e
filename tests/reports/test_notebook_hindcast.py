"""Hindcasts from Python: the same as the command's, from frames or from files."""

from __future__ import annotations

import pandas as pd
import pytest

from phenology.model.errors import FlushcastError, InputError, StageOrderError
from reports.notebook import hindcast, open_garden
from tests.reports.demo import DAY, flushcast


@pytest.fixture(scope="module")
def elms():
    """Looks at the demo's free growers of one kind, and the weather they stood in."""
    garden = open_garden("demo", as_of=DAY)
    looks = garden.looks().query("species == 'Acer buergerianum'")
    return looks, garden.weather()


@pytest.fixture(scope="module")
def judged(elms):
    return hindcast(*elms, given="budbreak", target="hardened")


def test_it_is_the_command_s_hindcast(elms, judged, tmp_path) -> None:
    looks, weather = elms
    files = tmp_path / "looks.csv", tmp_path / "weather.csv", tmp_path / "out.csv"
    named = looks.rename(columns={"label": "tree"})[["date", "tree", "species", "flush", "stage"]]
    named.to_csv(files[0], index=False)
    weather[["tmin", "tmax"]].to_csv(files[1])
    done = flushcast(
        "hindcast", "--weather", files[1], "--looks", files[0], "--given", "budbreak", "--target",
        "hardened", "--leave-one-season-out", "--out", files[2],
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    told = pd.read_csv(files[2], parse_dates=["issued"])
    ours = judged.forecasts()
    assert list(ours.columns[: len(told.columns)]) == list(told.columns)
    assert ours["tree"].tolist() == told["tree"].tolist()
    assert (ours["issued"].to_numpy() == told["issued"].to_numpy()).all()
    for name in ("q10", "q50", "q90"):
        assert ours[name].tolist() == pytest.approx(told[name].tolist(), abs=6e-4)
    for _, row in judged.scores().iterrows():
        line = next(line for line in done.stdout.splitlines() if line.startswith(row["forecaster"]))
        figures = line.removeprefix(row["forecaster"]).split()
        assert figures[:2] == [f"{row['mae_days']:.2f}", f"{row['crps_days']:.2f}"]
    of_files = hindcast(files[0], files[1], given="bud break", target="firm")
    pd.testing.assert_frame_equal(of_files.forecasts().iloc[:, :8], ours.iloc[:, :8])


def test_scores_and_counts_speak_of_the_rows(judged) -> None:
    scores = judged.scores()
    assert scores["forecaster"].iloc[0] == "flushcast" and pd.isna(scores["crps_saved"].iloc[0])
    rows = judged.forecasts()
    seen = rows[rows["by_day"] < float("inf")]
    assert scores["rows"].iloc[0] == len(seen)
    assert judged.counts().set_index("what").loc["forecasts", "count"] == len(rows)
    assert ((rows["median"] - rows["issued"]).dt.days >= 0).all()


def test_forward_hindcasts_forecast_the_test_seasons_only(elms) -> None:
    forward = hindcast(
        *elms, given="budbreak", target="hardened", train=(2022, 2024), test=(2025, 2025), known_weather=True
    )
    assert set(forward.forecasts()["season"]) == {2025}


def test_what_cannot_be_used_is_said(elms) -> None:
    looks, weather = elms
    with pytest.raises(InputError, match="no column stage"):
        hindcast(looks.drop(columns="stage"), weather, given="budbreak", target="hardened")
    with pytest.raises(InputError, match="both train and test"):
        hindcast(looks, weather, given="budbreak", target="hardened", train=(2022, 2023))
    plain = looks[["label", "species", "flush", "stage"]]
    with pytest.raises(InputError, match="'date' holds something that is no date"):
        hindcast(plain.assign(date="some day"), weather, given="budbreak", target="hardened")
    with pytest.raises(InputError, match="'date' is empty in row 0"):
        hindcast(plain.assign(date=None), weather, given="budbreak", target="hardened")
    with pytest.raises(FlushcastError, match="column tmax"):
        hindcast(looks, weather.drop(columns="tmax"), given="budbreak", target="hardened")


def test_looks_that_go_backward_are_refused_or_left_out_and_counted(elms) -> None:
    looks, weather = elms
    first = looks[(looks["season"] == 2023) & (looks["stage"] == "hardened") & (looks["flush"] == 1)].iloc[:1]
    later = first["date"] + pd.Timedelta(days=1)
    bad = pd.concat([looks, first.assign(stage="budbreak", date=later, earliest=later, latest=later)])
    with pytest.raises(StageOrderError):
        hindcast(bad, weather, given="budbreak", target="hardened")
    counts = hindcast(bad, weather, given="budbreak", target="hardened", skip_bad=True).counts()
    assert counts.set_index("what").loc["looks go backward", "count"] == 1
