"""Work and what followed: days from the work to each stage of the flush it woke."""

from __future__ import annotations

from phenology.seasons.tree_stages import what_followed
from tests.reports.bench import Bench
from tests.reports.demo import DAY, demo_folder, own_demo
from tests.reports.opened import read_garden


def demo():
    return read_garden(demo_folder(), DAY)[0]


def test_stages_follow_in_their_order():
    followed = what_followed(demo())
    assert len(followed) >= 8
    for one in followed:
        middles = [one.days[s].median for s in ("budbreak", "extended", "hardened") if s in one.days]
        assert middles == sorted(middles) and middles[0] > 5
        assert one.flushed <= one.works and one.seasons <= one.works
        assert all(least <= middle <= most for _, middle, least, most in one.days.values())


def test_only_work_that_wakes_is_followed():
    assert {one.operation for one in what_followed(demo())} <= {"cutback", "partial-defoliation", "pinching"}


def test_only_the_seasons_asked_for():
    every, one = (sum(f.works for f in what_followed(demo(), s)) for s in (None, {2024}))
    assert 0 < one < every
    assert not what_followed(demo(), {1990})


def test_days_are_counted_from_the_work(tmp_path):
    def cut() -> list:
        followed = what_followed(read_garden(bench.folder, DAY)[0], {2026})
        return [f for f in followed if (f.species, f.operation) == ("Pseudocydonia sinensis", "cutback")]

    bench = Bench(own_demo(tmp_path), today="2026-06-14")
    assert not cut()
    bench.does("work", "quince 2", "cutback", "--date", "2026-06-01")
    bench.does("look", "quince 2", "dormant", "--date", "2026-06-07")
    bench.does("look", "quince 2", "green", "--date", "2026-06-11", "--yes")
    (quince,) = cut()
    assert quince.days["budbreak"] == (1, 8.0, 8.0, 8.0)  # between 7 and 11 June, from 1 June


def test_compare_tells_it():
    said = Bench(demo_folder(), today="2026-06-14").does("compare").out
    assert "Work and what followed" in said and "partial defoliation, 5 times" in said
    assert "stages of 8 species: too few seasons to say" in said
    assert max(map(len, said.splitlines())) <= 90
