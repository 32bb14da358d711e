"""The flushes a season may still bring: what each opens, both ways where the craft has a choice."""

from __future__ import annotations

from phenology.species.catalogue import load_species
from phenology.work.season_chain import season_chain
from phenology.work.situation import Done, Situation
from phenology.work.zones import Vigour

SPECIES = load_species()


def ways(latin: str, **more):
    strong = {"vigour": Vigour("strong"), **more}
    return [link.ways for link in season_chain(Situation(SPECIES[latin], **strong), most=3)]


def test_a_strong_quince_is_bared_once_then_cut_and_halved():
    assert ways("Pseudocydonia sinensis") == [
        (("outer-defoliation",), ("extend-cut", "halve")),
        (("extend-cut", "halve"),),
        (("extend-cut", "halve"),),
    ]  # fmt: skip


def test_a_maple_may_be_pinched_or_let_extend():
    first = ways("Acer palmatum", stage="extending")[0]
    assert first == (("pinch",), ("outer-defoliation",), ("extend-cut", "halve"))
    assert ways("Acer palmatum", stage="extending", repotted=True)[0] == (("extend-cut", "halve"),)


def test_trident_maple_may_be_bared_again_after_six_weeks():
    assert [chain[0] for chain in ways("Acer buergerianum")] == [("outer-defoliation",)] * 3


def test_one_flush_ends_the_chain_and_so_does_a_bloom_cut():
    assert ways("Fagus crenata") == [(("pinch",), ("extend-cut", "halve"))]
    azalea = list(season_chain(Situation(SPECIES["Rhododendron indicum"], flowers="faded")))
    assert [link.ways for link in azalea] == [(("bloom-cut",),), ()]
    assert azalea[1].choice.leave.startswith("this flush opens nothing")


def test_a_chain_starts_from_what_was_done_and_says_what_a_condition_keeps_shut():
    woken = Situation(SPECIES["Pseudocydonia sinensis"], 2, done=(Done("partial-defoliation", 20),))
    links = list(season_chain(woken, most=3))
    assert [link.flush for link in links] == [2, 3] and links[0].ways == (("extend-cut", "halve"),)
    assert (links[0].woken_by, links[1].woken_by) == ("", "extend-cut")
    unsaid = next(season_chain(Situation(SPECIES["Pseudocydonia sinensis"])))
    assert [o.technique for o in unsaid.conditions] == ["outer-defoliation"]
    assert "nobody says that it is" in unsaid.conditions[0].unmet[0]


def test_nothing_is_planned_for_a_tree_that_is_left_alone():
    (link,) = season_chain(Situation(SPECIES["Acer palmatum"], aim="building"))
    assert link.ways == () and "being built" in link.choice.leave
