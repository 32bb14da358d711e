"""`flushcast compare` through the real command line: text, JSON, CSV, and what cannot be said."""

from __future__ import annotations

import csv
import io
import json
from datetime import date, timedelta
from functools import cache

import pytest

from reports.cli.telling.seasons import TABLES
from reports.views.compare import COLUMNS
from tests.reports.bench import Bench, new_bench
from tests.reports.demo import DAY, demo_folder, flushcast, own_demo

SECTIONS = ("Warmth to", "Frosts,", "Beside each date", "Forecasts of the first", "Work and what", "Trends")


def demo(day=DAY, south=False):
    return Bench(demo_folder(day, south), today=day.isoformat())


@cache
def said():
    return demo().does("compare").out


@cache
def record():
    return json.loads(demo().does("compare", "--json").out)


def table(name, bench=None):
    return list(csv.DictReader(io.StringIO((bench or demo()).does("compare", "--csv", "--table", name).out)))


def test_every_part_is_told_in_order_of_use_and_fits_a_terminal():
    places = [said().index(section) for section in SECTIONS]
    assert places == sorted(places)
    assert max(map(len, said().splitlines())) <= 80
    assert len(said().splitlines()) < 120


def test_later_flushes_tell_only_their_hardening_unless_asked():
    assert "hardened, flush 2" in said() and "bud break, flush 2" not in said()
    every = demo().does("compare", "--stages", "--no-look-back").out
    assert "bud break, flush 2" in every and "from the work" in every and "from bud break" in every
    assert max(map(len, every.splitlines())) <= 80


@pytest.mark.slow
def test_a_process_of_its_own_tells_the_same(tmp_path):
    done = flushcast("--garden", demo_folder(), "compare", "2025", "2026", "--no-look-back", today=str(DAY))
    assert done.returncode == 0 and done.stderr == ""
    assert "2025" in done.stdout and "2024" not in done.stdout.split("Work and what")[0]
    assert "Forecasts of the first" not in done.stdout


def test_tree_by_tree_for_the_trees_named():
    told = demo().does("compare", "--tree", "hornbeams").out
    assert [told.count(f"Hornbeam {n} (Korean hornbeam)") for n in (1, 2, 3)] == [1, 1, 1]
    assert "Warmth to" not in told and "same trees'" in " ".join(told.split())
    assert "from the work" in told and max(map(len, told.splitlines())) <= 80


def test_a_tree_never_looked_at_is_told_so(tmp_path):
    bench = Bench(own_demo(tmp_path), today=str(DAY))
    bench.does("tree", "add", "Plum", "Prunus mume")
    assert "Plum" in bench.does("compare", "--tree", "plum").out
    assert "no stage was seen" in bench.does("compare", "--tree", "plum").out


@pytest.mark.slow
def test_an_elm_seen_in_april_and_in_october_gets_no_date_for_what_came_between(tmp_path):
    bench = Bench(own_demo(tmp_path, date(2026, 11, 25)), today="2026-11-25")
    bench.does("tree", "add", "Elder elm by the far fence", "Ulmus parvifolia", "--since", "2026-01-01")
    bench.does("look", "elder elm by the far fence", "budbreak", "--date", "2026-04-10", "--kind", "seen")
    bench.does("look", "elder elm by the far fence", "turning", "--date", "2026-10-20")
    told = "Not dated: 2 stages of Elder elm by the far fence, between looks more than 5 weeks apart."
    for asked in ([], ["--tree", "elder elm by the far fence"]):
        out = bench.does("compare", "--no-look-back", *asked).out
        assert told in " ".join(out.split()) and max(map(len, out.splitlines())) <= 80
    bench.does("compare", "--no-look-back", "--page", tmp_path / "seasons.html")
    assert told in (tmp_path / "seasons.html").read_text()
    rows = json.loads(bench.does("compare", "--no-look-back", "--json").out)["trees"]
    assert not [row for row in rows if row["tree"].startswith("Elder")]


def test_work_done_once_with_nothing_after_it_is_said_in_the_singular(tmp_path):
    bench = Bench(own_demo(tmp_path), today=str(DAY))
    bench.does("work", "beech", "cutback", "--date", "2026-06-14")
    lines = bench.does("compare", "--no-look-back", "2026").out.split("Work and what")[1].splitlines()
    beech = lines.index("Japanese beech")
    assert lines[beech + 1].split()[:2] == ["cutback,", "once"]
    assert lines[beech + 2] == "  (nothing written of what followed)"


def test_json_has_every_table_and_a_course_that_ends_today():
    assert record()["schema"] == "flushcast.compare/1" and record()["base"] == 5.0
    for name in ("seasons", "course", "frosts", "stages", "trees", "forecasts", "followed", "trends"):
        assert record()[name], name
    now = [row for row in record()["course"] if row["season"] == "2026"][-1]
    today = next(row for row in record()["seasons"] if row["season"] == "2026")
    assert (now["date"], now["days_ahead"]) == ("2026-06-14", today["days_ahead"])
    assert now["degree_days"] == today["degree_days"]


@pytest.mark.parametrize("name", TABLES)
def test_each_table_as_csv(name):
    rows = table(name)
    assert rows
    assert list(rows[0]) == [column.flat_in("C") for column in COLUMNS[name]] and set(TABLES) == set(COLUMNS)


def test_csv_agrees_with_json():
    stages, told = table("stages"), record()["stages"]
    assert len(stages) == len(told)
    for row, value in zip(stages, told, strict=True):
        assert (row["date"], float(row["degree_days_c"] or "nan")) == (
            value["date"], pytest.approx(value["degree_days"] or float("nan"), nan_ok=True))  # fmt: skip


def test_a_species_is_the_mean_of_its_trees():
    trees = [
        float(row["day"]) for row in table("trees")
        if (row["species"], row["flush"], row["stage"], row["season"])
        == ("Carpinus turczaninowii", "1", "budbreak", "2025")
    ]  # fmt: skip
    whole = next(
        s for s in record()["stages"]
        if (s["species"], s["flush"], s["stage"], s["season"])
        == ("Carpinus turczaninowii", 1, "budbreak", "2025")
    )  # fmt: skip
    assert len(trees) == whole["trees"] == 3
    assert whole["day"] == pytest.approx(sum(trees) / 3, abs=0.06)


def test_degree_days_follow_the_gardens_units(tmp_path):
    bench = Bench(own_demo(tmp_path), today=str(DAY))
    bench.does("settings", "units", "F")
    celsius, fahrenheit = table("stages"), table("stages", bench)
    for c, f in zip(celsius, fahrenheit, strict=True):
        if c["degree_days_c"]:
            assert float(f["degree_days_f"]) == pytest.approx(1.8 * float(c["degree_days_c"]), abs=0.15)
        assert c["days_ahead"] == f["days_ahead"]
    assert "41 °F" in bench.does("compare", "--no-look-back").out


@pytest.mark.parametrize("day", [date(2025, 11, 28), date(2026, 1, 20)])
def test_in_winter_no_lead_is_told_for_today(day):
    told = demo().does("compare", "--as-of", day, "--no-look-back").out
    assert "too cool a time of year to count days ahead" in told
    assert all(
        row["days_ahead"] is None
        for row in json.loads(demo().does("compare", "--as-of", day, "--json", "--no-look-back").out)[
            "seasons"
        ]
    )
    assert "Jul" in next(
        line for line in told.splitlines() if line.startswith("season ")
    )  # the growing season still stands side by side


def test_days_filled_are_counted_in_words(tmp_path):
    bench = Bench(own_demo(tmp_path), today=str(DAY))
    garden = bench.folder / "garden.toml"
    garden.write_text(garden.read_text().replace("2026-06-14", "2026-06-15"))
    told = " ".join(bench.does("compare", "--no-look-back").out.split())
    assert "filled from the usual year: 1 day of 2026." in told and " 1 days of" not in told


@pytest.mark.slow
def test_in_the_south_seasons_stand_across_new_year():
    told = demo(date(2026, 12, 14), south=True).does("compare", "--no-look-back").out
    assert "2025/26" in told and "from the season" not in told
    assert max(map(len, told.splitlines())) <= 80
    heads = next(line for line in told.splitlines() if line.startswith("season ")).split()
    assert heads.index("Nov") < heads.index("14") < heads.index("Jan")


def test_the_leap_day_is_compared_like_any_other():
    told = demo().does("compare", "--as-of", "2024-02-29", "--no-look-back").out
    assert "Warmth to 29 Feb" in told


def test_dates_written_as_iso_take_fewer_seasons_at_once(tmp_path):
    bench = Bench(own_demo(tmp_path), today=str(DAY))
    bench.does("settings", "date-order", "year-first")
    told = bench.does("compare", "--no-look-back").out
    assert "2026-03-23 +14" in told and max(map(len, told.splitlines())) <= 80


def test_one_tree_and_one_season_say_what_is_lacking(tmp_path):
    bench = new_bench(tmp_path / "new")
    days = [date(2026, 1, 1) + timedelta(days=n) for n in range(206)]
    rows = "\n".join(f"{d},{5 + n % 7},{15 + n % 9}" for n, d in enumerate(days))
    (tmp_path / "w.csv").write_text(f"date,tmin,tmax\n{rows}\n")
    bench.does("weather", "add", tmp_path / "w.csv", "--units", "C")
    told = bench.does("compare").out
    assert "Too few seasons on record to say what is usual." in told
    assert "No stage was seen" in told and "Forecasts of the first" not in told


@pytest.mark.slow
def test_past_forecasts_are_kept_until_a_finished_season_changes(tmp_path):
    bench = Bench(own_demo(tmp_path), today=str(DAY))
    (bench.folder / "past_forecasts.json").unlink(missing_ok=True)  # the demo's own
    first, second = bench.does("compare"), bench.does("compare")
    assert "Looking back" in first.err and second.err == "" and first.out == second.out
    (bench.folder / "past_forecasts.json").write_text("spoiled")
    assert bench.does("compare").out == first.out
    bench.does("look", "beech", "hardened", "--date", "2026-06-13")
    assert "Looking back" not in bench.does("compare").err
    bench.does("look", "beech", "extending", "--date", "2023-05-29")
    assert "Looking back" in bench.does("compare").err


@pytest.mark.parametrize(
    "asked",
    [["--json", "--csv"], ["--table", "trees"], ["--stages", "--json"], ["24"],
     ["--tree", "beech", "--page", "x.html"], ["--csv", "--table", "moon"]],
)  # fmt: skip
def test_what_does_not_go_together_is_a_usage_error(asked):
    assert demo()("compare", *asked).code == 2


def test_a_season_without_weather_is_refused():
    assert "no weather for season 1950" in demo().refuses("compare", "1950")
