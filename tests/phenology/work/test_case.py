"""What a case of work reads of the looks, and how often it goes through them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from phenology.model.records import Look
from phenology.model.season import SeasonCalendar
from phenology.work.case import Case
from tests.phenology.gardens import NORTH, Records, day


class Counted(list[Look]):
    """Looks that count how often somebody goes through all of them."""

    passes = 0

    def __iter__(self) -> Iterator[Look]:
        self.passes += 1
        return super().__iter__()


def test_a_case_reads_its_own_tree_s_notes_and_looks_only():
    records = Records()
    for label in ("elm", "other"):
        records.tree(label)
        records.a_season(label, 2020, 100, 130, 160)
    garden = records.garden(day(2020, 165))
    last = {look.tree_id: look for look in garden.looks}
    noted = replace(last["elm"], note="Leaves wilting", earliest=day(2020, 164), latest=day(2020, 164))
    garden = replace(garden, looks=[*(k for k in garden.looks if k is not last["elm"]), noted])
    mine, its = (Case(garden, tree, "cutback", day(2020, 165), note="Dry") for tree in garden.trees)
    assert mine.own_words == "dry leaves wilting" and its.own_words == "dry"


def test_many_trees_need_no_pass_over_all_looks_each():
    records = Records()
    labels = [f"elm {n}" for n in range(12)]
    for label in labels:
        records.tree(label)
        records.a_season(label, 2020, 100, 130, 160)
        records.work(label, 2020, 90, "repotting")
    garden = records.garden(day(2020, 165))
    looks = Counted(garden.looks)
    garden = replace(garden, looks=looks)
    looks.passes = 0
    cases = [Case(garden, tree, "cutback", day(2020, 165)) for tree in garden.trees]
    assert all(case.grown_since_repotting for case in cases) and all(case.own_words == "" for case in cases)
    assert looks.passes == 1


def a_case(species: str = "Acer palmatum", n: int = 165, calendar: SeasonCalendar = NORTH, **tree) -> Case:
    records = Records(calendar)
    if calendar is not NORTH:
        records.places[0] = replace(records.places[0], latitude=-45.0)
    records.tree("T", species, **tree)
    flush = records.flush("T", 2019 if calendar is not NORTH else 2020)
    records.look(flush, n - 20, "budbreak", note="in full bloom")
    records.look(flush, n - 5, "extending", note="Flowers over")
    today = day(2019 if calendar is not NORTH else 2020, n, calendar)
    garden = records.garden(today)
    return Case(garden, garden.trees[0], "cutback", today)


def test_the_newest_word_on_flowers_counts():
    assert a_case().flowers == "faded"
    assert replace(a_case(), day=day(2020, 155)).flowers == "flowering"


def test_days_since_midwinter_run_the_same_on_both_halves_of_the_earth():
    assert a_case(n=172).since_midwinter == 182
    assert a_case(n=174, calendar=SeasonCalendar(7, 1)).since_midwinter == 182


def test_without_weather_flower_buds_are_set_a_month_after_the_longest_day():
    assert not a_case(n=200).buds_set and a_case(n=205).buds_set


def test_only_a_tree_that_is_weak_as_a_whole_or_outside_is_weak():
    assert a_case(vigour="weak").weak and a_case(vigour="weak top").weak
    assert not a_case(vigour="strong apex, weak inside").weak
    assert a_case(vigour="strong").strong and not a_case(vigour="strong, weak low branches").strong


def test_a_situation_is_what_the_records_say():
    records = Records()
    records.tree("T", "Acer palmatum", vigour="strong")
    first = records.a_season("T", 2020, 100, 130, 150)
    assert first
    cut = records.work("T", 2020, 155, "cutback")
    records.flush("T", 2020, "work", started_on=day(2020, 155), work_id=cut)
    records.work("T", 2020, 156, "halving")
    garden = records.garden(day(2020, 160))
    s = Case(garden, garden.trees[0], "halving", day(2020, 160), part="top").situation()
    assert (s.flush, s.stage, s.zone, s.vigour.whole, s.aim) == (2, None, "outer", "strong", "refining")
    done = [(d.operation, d.days_ago, d.this_flush) for d in s.done]
    assert done == [("cutback", 5, False), ("halving", 4, False)], "halving belongs to the cut"
