"""`flushcast calibrate` on leaf counts: a sentence for a species that has any, in either unit, and JSON."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import pytest

from phenology.learning.garden_leaves import LeafHabit
from reports.views.calibration_text import Learned, calibration_text, leaf_words
from tests.phenology.gardens import weather
from tests.reports.bench import Bench, new_bench

HABIT = LeafHabit("Ulmus parvifolia", 9, 9, (3.1, 2.8, 3.4), (6.2, 5.8, 6.6), 5.0)


def test_the_sentence_in_either_unit():
    assert leaf_words(HABIT, "C") == (
        "A leaf each 3.1 days at 18 °C (40 degree-days above 5), 6.2 leaves to extended, "
        "from 9 flushes counted."
    )
    assert "days at 64 °F (73 degree-days above 41)" in leaf_words(HABIT, "F")
    last = LeafHabit("Ulmus parvifolia", 1, 0, (3.1, 2.8, 3.4), (6.2, 5.8, 6.6), 5.0)
    assert leaf_words(last, "C") == "6.2 leaves to extended, from 1 flush counted."


def test_nothing_to_calibrate_says_so_whatever_was_counted():
    assert "Nothing to calibrate yet" in calibration_text(Learned([], leaf_counts=[HABIT]), {}, "C")


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A garden with weather."""
    folder = tmp_path_factory.mktemp("leaves")
    bench = new_bench(folder / "garden").on("2020-12-31")
    series, path = weather(), folder / "w.csv"
    lines = [
        f"{date.fromordinal(series.first_day.toordinal() + n)},{low:.1f},{high:.1f}"
        for n, (low, high) in enumerate(zip(series.tmin, series.tmax, strict=True))
    ]
    path.write_text("\n".join(["date,tmin,tmax", *lines]))
    bench.does("weather", "add", path, "--units", "C")
    return bench.folder


@pytest.fixture
def bench(made, tmp_path):
    return Bench(Path(shutil.copytree(made, tmp_path / "garden")), "2020-12-31")


def test_counts_written_down_come_back_learned(bench, tmp_path):
    assert "A leaf each" not in bench.does("calibrate", "elm").out
    season = (
        ("dormant", "04-08", ""), ("budbreak", "04-12", ""), ("extending", "04-27", "3 3 4"),
        ("extending", "05-08", ""), ("extended", "05-12", "6,7,6"),
    )  # fmt: skip
    past = [
        f'{year}-{when},Elm 1,{stage},"{leaves}"' for year in (2018, 2019) for stage, when, leaves in season
    ]
    (tmp_path / "looks.csv").write_text("\n".join(["date,tree,stage,leaf count", *past]))
    bench.does("import", tmp_path / "looks.csv")
    for stage, when, leaves in season:
        more = ("--leaves", leaves) if leaves else ()
        bench.does("look", "Elm 1", stage, "--date", f"2020-{when}", *more)
    told = bench.does("calibrate", "elm").out
    assert max(map(len, told.splitlines())) <= 80
    words = " ".join(told.split())
    assert "A leaf each" in words and "leaves to extended, from 3 flushes counted." in words
    record = json.loads(bench.does("calibrate", "elm", "--json").out)["leaf_counts"]
    assert [r["species"] for r in record] == ["Ulmus parvifolia"]
    assert record[0]["flushes"] == record[0]["flushes_counted_growing"] == 3
    assert 5.5 < record[0]["leaves_to_extended"]["leaves"] < 7
    assert record[0]["leaf_interval"]["p10"] < record[0]["leaf_interval"]["days_at_18c"]
    assert json.loads(bench.does("calibrate", "hornbeam", "--json").out)["leaf_counts"] == []


@pytest.mark.parametrize("text", ["lots", "5-6", "many 5", "-1", "5.5"])
def test_a_look_refuses_what_is_no_count(bench, text):
    assert "--leaves takes counts such as 5,6,5" in bench.refuses(
        "look", "Elm 1", "extending", "--date", "2020-05-08", f"--leaves={text}"
    )
