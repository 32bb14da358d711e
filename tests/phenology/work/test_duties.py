"""The other duties: each at its time, where the species takes it, and quiet where it does not."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from phenology.model.limits import Limits
from phenology.model.records import Work
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import load_species, neutral_species
from phenology.work.duties import RestOfYear, bloom_cut, pinching, weather_ahead, winter_list
from phenology.work.situation import Situation
from phenology.work.wire_watch import wire_check
from phenology.work.zones import Vigour

SPECIES = load_species()
MAPLE, ELM, AZALEA, SASANQUA = "Acer palmatum", "Ulmus minor", "Rhododendron indicum", "Camellia sasanqua"
BREAKS = (date(2026, 4, 5), date(2026, 4, 15))
REST = RestOfYear(date(2026, 11, 20), date(2026, 12, 21), (date(2027, 3, 5), date(2027, 3, 28)))


def situation(latin: str, **more) -> Situation:
    return Situation(SPECIES[latin], **more)


def test_tips_are_pinched_from_bud_break_until_shoots_stop():
    care = pinching(situation(MAPLE), BREAKS, date(2026, 5, 2))
    assert (care.name, care.first, care.last, care.look) == ("pinching", BREAKS[0], date(2026, 5, 2), True)
    assert "soft tips of strong outer shoots" in care.sentence and "inner ones keep theirs" in care.sentence
    assert pinching(situation(MAPLE), BREAKS).last == date(2026, 5, 6)


@pytest.mark.parametrize(
    "s",
    [situation(ELM), situation(MAPLE, repotted=True), situation(MAPLE, vigour=Vigour("weak")),
     situation(MAPLE, aim="building"), situation(MAPLE, stage="extended"), situation(MAPLE, flush=2)],
)  # fmt: skip
def test_nothing_is_pinched_that_does_not_take_it_now(s):
    assert pinching(s, BREAKS) is None


def test_bloom_led_trees_are_looked_at_for_faded_flowers_and_then_shaped_in_a_short_window():
    today, buds = date(2026, 6, 1), date(2026, 7, 20)
    look = bloom_cut(situation(AZALEA), None, buds, today)
    assert look.look and "whether its flowers fade" in look.sentence
    cut = bloom_cut(situation(AZALEA, flowers="faded"), date(2026, 6, 10), buds, today)
    assert (cut.first, cut.last, cut.look) == (date(2026, 6, 10), date(2026, 7, 8), False)
    late = bloom_cut(situation(AZALEA, flowers="faded"), date(2026, 7, 10), buds, today)
    assert late.last == buds, "once next year's buds are set it is left alone"
    assert bloom_cut(situation(AZALEA, buds_set=True), None, buds, date(2026, 8, 1)) is None
    assert bloom_cut(situation(ELM), None, buds, today) is None


def test_wire_is_looked_at_in_its_time():
    day = date(2026, 5, 1)
    check = wire_check([Work("w", "t", "wiring", "", day, day)], [], day, SeasonCalendar())
    assert check.due == day + timedelta(days=21) and "never unwind" in check.sentence


# -------------------------------------------------------------------------------------------- weather ahead


def ahead(*days: tuple[float, float]):
    return [(date(2026, 5, 1) + timedelta(days=k), low, high) for k, (low, high) in enumerate(days)]


def warned(latin: str, days, stage: str | None, **more):
    return [(c.name, c.sentence) for c in weather_ahead(days, SPECIES[latin], Limits(), stage=stage, **more)]


def test_heat_is_told_with_its_worst_day():
    (heat,) = warned(ELM, ahead((15, 34), (16, 37), (15, 30)), "hardened")
    assert heat == ("heat", "37 °C on 2 May: water early and again late, shade and shelter from wind")
    assert "worked lately" in warned(ELM, ahead((15, 35)), "hardened", worked=True)[0][1]
    assert warned(ELM, ahead((15, 33)), "hardened") == []


@pytest.mark.parametrize("stage, told", [("budbreak", 1), ("extending", 1), ("extended", 1), ("hardened", 0),
                                         ("dormant", 0), (None, 0)])  # fmt: skip
def test_late_frost_is_told_of_soft_growth_alone(stage, told):
    found = warned(ELM, ahead((5, 15), (-1, 12)), stage)
    assert len(found) == told
    if told:
        assert found == [("frost", "-1 °C on the night to 2 May: soft growth under cover overnight")]


def test_a_clear_night_near_frost_counts_and_tropical_trees_come_in_sooner():
    assert warned(ELM, ahead((2, 15)), "extending") and not warned(ELM, ahead((2.5, 15)), "extending")
    assert warned("Ficus salicaria", ahead((4, 15)), None) == [
        ("frost", "4 °C on the night to 1 May: bring it in")
    ]


# -------------------------------------------------------------------------------------------- the winter list


def winter(latin: str, **more):
    return {c.name: c for c in winter_list(SPECIES[latin], REST, **more)}


def test_the_winter_of_an_elm():
    found = winter(ELM, put_off=True, repotting_due=True)
    assert list(found) == ["cuts put off", "pruning", "wiring", "winter shelter", "repotting"]
    assert found["winter shelter"].last == REST.swelling[1]  # swelling buds freeze too
    assert (found["pruning"].first, found["pruning"].last) == (REST.bare, REST.swelling[0])
    assert "two buds" in found["cuts put off"].sentence
    assert (found["repotting"].first, found["repotting"].last) == REST.swelling
    assert all(c.first <= c.last and not c.sentence.endswith(".") for c in found.values())


def test_nothing_is_cut_before_leaves_are_known_to_be_down():
    unseen = replace(REST, seen=False)
    (cut,) = [c for c in winter_list(SPECIES[ELM], unseen, put_off=True) if c.name == "cuts put off"]
    assert cut.sentence.startswith("cuts put off in summer, once it is bare: ")
    chinese = winter("Ulmus parvifolia", put_off=True)  # which may keep its leaves all winter
    assert chinese["pruning"].first == chinese["cuts put off"].first == REST.swelling[0]


def test_trees_that_bleed_are_pruned_before_sap_rises():
    found = winter(MAPLE, put_off=True)
    assert found["pruning"].last == date(2027, 1, 11) == found["cuts put off"].last
    assert (
        "before sap rises" in found["pruning"].sentence
        and "one pair of buds" in found["cuts put off"].sentence
    )


def test_stone_fruits_azaleas_and_figs_are_not_pruned_in_winter():
    for latin in ("Prunus incisa", AZALEA, "Ficus microcarpa"):
        assert not {"pruning", "cuts put off"} & set(winter(latin, put_off=True))


def test_evergreens_are_pruned_as_buds_swell_and_not_wired_bare():
    found = winter("Olea europaea")
    assert (found["pruning"].first, found["pruning"].last) == REST.swelling and "as buds swell" in found[
        "pruning"
    ].sentence
    assert "wiring" not in found
    for latin, kept in {"Olea europaea": "pair of leaves", "Wisteria floribunda": "or three buds"}.items():
        assert kept in winter(latin, put_off=True)["cuts put off"].sentence
    assert winter(SASANQUA)["pruning"].first == REST.swelling[0]


def test_roots_have_the_season_of_their_genus():
    quince = winter("Chaenomeles speciosa", repotting_due=True)["repotting"]
    assert (quince.first, quince.last) == (date(2026, 8, 31), date(2026, 10, 26))
    assert "repotting" not in winter(AZALEA, repotting_due=True) and "repotting" not in winter(ELM)


def test_a_resting_tree_is_only_sheltered():
    assert list(winter(ELM, aim="resting", put_off=True)) == ["winter shelter"]
    assert "cuts put off" not in winter(ELM, aim="building", put_off=True)
    assert list(winter(ELM, put_off=True, weak=True)) == ["winter shelter"]
    unknown = winter_list(neutral_species("Corylus avellana"), REST, put_off=True)
    assert [c.name for c in unknown] == ["winter shelter"]  # nobody says that it is ever bare


def test_flowering_trees_keep_their_buds_and_worn_wire_comes_off_first():
    assert "spare the flower buds" in winter("Malus sieboldii", put_off=True)["cuts put off"].sentence
    assert "spare" not in winter("Lagerstroemia indica", put_off=True)["cuts put off"].sentence
    assert "take off wire" in winter(ELM, wired=True)["wiring"].sentence


def test_a_winter_without_a_window_lists_nothing_in_it():
    early = replace(REST, bare=date(2027, 1, 20))
    assert "pruning" not in {c.name for c in winter_list(SPECIES[MAPLE], early)}
