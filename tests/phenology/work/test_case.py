"""What a case of work reads of the looks, and how often it goes through them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from phenology.model.records import Look
from phenology.work.case import Case
from tests.phenology.gardens import Records, day


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
    assert mine.told == "dry leaves wilting" and its.told == "dry"


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
    assert all(case.grown_since_repotting for case in cases) and all(case.told == "" for case in cases)
    assert looks.passes == 1
