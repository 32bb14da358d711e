"""`flushcast check` and `flushcast plan`: may I, and what may the season still bring."""

from __future__ import annotations

import json

import pytest

from tests.reports.bench import Bench, new_bench
from tests.reports.demo import DAY, FEW, demo_folder, own_demo


@pytest.fixture
def bench():
    return Bench(demo_folder(), today=DAY.isoformat())


def test_check_answers_and_writes_nothing(bench):
    before = bench.does("history").out
    told = " ".join(bench.does("check", "quince 1", "cutback").out.split())
    assert told.startswith("Quince 1: better wait. ") and "when the leaves are hard" in told
    assert bench.does("history").out == before


def test_check_speaks_for_the_zone_asked_about(bench):
    told = " ".join(bench.does("check", "beech", "cutback", "--part", "inside").out.split())
    assert told.startswith("Beech: no. ") and "Inner shoots and leaves stay whole" in told


def test_a_tree_that_nobody_looked_at_is_looked_at_first(tmp_path):
    bench = new_bench(tmp_path / "garden").on("2026-06-01")
    told = " ".join(bench.does("check", "elm 1", "cutback").out.split())
    assert told.startswith("Elm 1: better wait. No look of this season says what its leaves are at.")


def test_a_tree_cut_and_halved_last_week_is_left_to_grow(bench):
    for operation in ("cutback", "halving"):
        told = " ".join(bench.does("check", "hornbeam 1", operation).out.split())
        assert told.startswith("Hornbeam 1: better wait. Work on 6 Jun woke a new flush")


def test_a_garden_may_work_a_species_in_its_own_way(tmp_path):
    bench = Bench(own_demo(tmp_path, trees=FEW), today=DAY.isoformat())
    bench.does("species", "Carpinus turczaninowii", "--set", "keeps=1-2", "--set", "needs=halve: strong")
    told = " ".join(bench.does("species", "Carpinus turczaninowii").out.split())
    assert "* a cut keeps one or two leaves" in told
    assert "halve outer leaves (asks: strong)" in told
    assert "bare the outer canopy (asks: strong, not-repotted)" in told  # what was asked before stays
    assert "one or two leaves" in bench.does("check", "hornbeam 1", "cutback").out
    assert "it may hold strong" in bench.refuses("species", "Fagus crenata", "--set", "needs=pinch: fast")


def test_check_knows_no_garden_it_cannot_open(tmp_path):
    said = Bench(tmp_path / "nowhere", today=DAY.isoformat())("check", "elm", "cutback")
    assert said.code == 1 and "nowhere" in said.err


def test_check_as_data(bench):
    (row,) = json.loads(bench.does("check", "quince 1", "cutback", "--json").out)["rows"]
    assert row["label"] == "Quince 1" and row["answer"] == "better wait"


def test_work_that_the_craft_says_no_to_is_asked_about_on_a_terminal_and_written_down_in_a_script(tmp_path):
    bench = Bench(own_demo(tmp_path, trees=FEW), today=DAY.isoformat())
    done = bench.does("work", "azalea", "full-defoliation")  # no terminal: nothing stops a grower
    assert "Written down all the same." in done.words
    assert "full-defoliation" in bench.does("work", "azalea", "--list").out


def test_flowering_and_faded_are_written_down_and_open_the_cut_at_bloom_s_end(tmp_path):
    bench = Bench(own_demo(tmp_path, trees=FEW), today=DAY.isoformat())
    bench.does("look", "azalea", "flowering", "--date", "2026-06-06")
    before = " ".join(bench.does("check", "azalea", "cutback").out.split())
    bench.does("look", "azalea", "faded")
    after = " ".join(bench.does("check", "azalea", "cutback").out.split())
    assert "it is in flower" in before and not before.startswith("Azalea: yes")
    assert "it is in flower" not in after
    assert "flowers and seed heads off" in " ".join(bench.does("round").out.split())


def test_the_plan_follows_the_flushes_and_the_technique_at_each(bench):
    told = " ".join(bench.does("plan", "quince 1").out.split())
    assert told.startswith("Quince 1; last safe day to wake growth ")
    assert "flush 2: buds break" in told and "flush 3, if it is woken about" in told
    assert "cut shoots back to two leaves, then halve the outer leaves" in told


def test_what_if_it_were_cut_later(bench):
    soon = json.loads(bench.does("plan", "quince 1", "--cut", "5 July", "--json").out)["rows"]
    late = json.loads(bench.does("plan", "quince 1", "--cut", "10 August", "--json").out)["rows"]

    def woken(rows):
        return next(r for r in rows if r["flush"] == 3)

    assert woken(soon)["woken_on"] == "2026-07-05" and woken(late)["woken_on"] == "2026-08-10"
    assert woken(soon)["hardened"]["p50"] < woken(late)["hardened"]["p50"]
    assert woken(soon)["chance"] >= woken(late)["chance"]


def test_a_plan_says_where_leaves_are_likelier_hard_after_the_last_safe_day(bench):
    told = " ".join(bench.does("plan", "hornbeam 1").out.split())
    assert "about 1 Aug (25 Jul-8 Aug), only if by 28 Jul: cut shoots back" in told


def test_a_garden_without_weather_is_planned_by_the_usual_warmth_and_told_what_sharpens_it(tmp_path):
    told = new_bench(tmp_path / "garden").does("plan", "elm")
    assert "flush 1: buds break" in told.out and "flush 2, if it is woken" in told.out
    assert "flushcast weather add FILE" in told.words
