"""Care after work, wire, and cautions: dated, sourced, and fitting the tree."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from phenology.model.operations import Operation
from phenology.model.records import Look, Tree, Work
from phenology.model.season import SeasonCalendar
from phenology.species.catalogue import load_species
from phenology.work.aftercare import aftercare, due
from phenology.work.cautions import cautions
from phenology.work.wire_watch import on_older_wood, wire_check

DAY = date(2026, 6, 1)
SPECIES = load_species()


def work(operation: str, day: date = DAY, note: str | None = None, part: str | None = None) -> Work:
    return Work(f"w{day}{operation}", "t", operation, str(day), day, day, part, note=note)


def cares(operation: str, aim: str = "refining", species: str = "Ulmus parvifolia", **tree):
    return aftercare(work(operation), Tree("t", "Elm", species, **tree), SPECIES[species], aim)


def test_care_is_dated_from_the_work():
    found = {c.name: c for c in cares("partial-defoliation")}
    assert (found["shade"].first, found["shade"].last) == (DAY, DAY + timedelta(days=14))
    assert (found["buds"].first, found["buds"].last) == (DAY + timedelta(days=14), DAY + timedelta(days=28))
    assert "drinks far less" in found["water"].sentence and "scorch" in found["shade"].sentence
    pests = [c.first for c in cares("cutback") if c.name == "pests"]
    assert pests == [DAY + timedelta(days=7), DAY + timedelta(days=14)]


def test_every_care_has_its_source_and_ends_after_it_begins():
    for operation in Operation:
        for care in cares(operation):
            assert care.first <= care.last and care.provenance and not care.sentence.endswith(".")


def test_halving_wakes_nothing_so_no_buds_are_waited_for():
    assert "buds" not in {c.name for c in cares("halving")}
    assert {c.name for c in cares("wiring")} == set()


@pytest.mark.parametrize(
    "aim, tree, words",
    [("building", {}, "feed freely"), ("refining", {"vigour": "sick"}, "only once it grows"),
     ("refining", {}, "feed lightly"), ("refining", {"grown_for": "flower"}, "flower buds set")],
)  # fmt: skip
def test_feeding_follows_aim_and_vigour(aim, tree, words):
    assert any(words in c.sentence for c in cares("cutback", aim, **tree))


def test_weak_low_branches_do_not_make_a_weak_tree_of_it():
    assert any("feed lightly" in c.sentence for c in cares("cutback", vigour="strong, weak low branches"))


def test_late_growth_is_sheltered_and_not_fed():
    late = aftercare(
        work("cutback"),
        Tree("t", "Elm", "Ulmus parvifolia"),
        SPECIES["Ulmus parvifolia"],
        "refining",
        late=True,
    )
    assert {c.name for c in late} == {"shade", "water", "pests", "buds", "no feed", "late frost"}
    assert "feed" not in {c.name for c in late}


def test_what_is_due_on_a_day():
    all_care = cares("cutback")
    assert {c.name for c in due(all_care, DAY + timedelta(days=15))} == {"pests", "buds", "feed"}
    assert due(all_care, DAY - timedelta(days=1)) == []


# ---------------------------------------------------------------------------------------------- wire

NORTH = SeasonCalendar()


def check(*works: Work, today: date, looks=(), **more):
    return wire_check(works, looks, today, NORTH, **more)


def test_wire_on_shoots_is_looked_at_after_three_weeks_and_on_wood_after_six():
    assert check(work("wiring"), today=DAY).due == DAY + timedelta(days=21)
    assert check(work("wiring", note="main branch"), today=DAY).due == DAY + timedelta(days=42)
    winter = work("wiring", date(2026, 2, 1))
    assert on_older_wood(winter, NORTH) and check(winter, today=DAY).due == date(2026, 3, 15)
    assert not on_older_wood(work("wiring", date(2026, 2, 1), "twigs"), NORTH)


def test_after_a_wire_look_every_two_weeks():
    seen = Look(
        "k", "t", "f", "extending", "", DAY + timedelta(22), DAY + timedelta(22), note="wire still loose"
    )
    other = Look("k2", "t", "f", "extending", "", DAY + timedelta(30), DAY + timedelta(30), note="aphids")
    found = check(work("wiring"), today=DAY + timedelta(40), looks=[seen, other])
    assert found.due == DAY + timedelta(36) and found.overdue == 4


def test_warmth_and_strength_bring_a_look_forward_never_back():
    hot = check(work("wiring"), today=DAY + timedelta(30), growth=lambda a, b: 1.5 * (b - a).days)
    assert hot.due == DAY + timedelta(days=14)
    cold = check(work("wiring"), today=DAY + timedelta(30), growth=lambda a, b: 0.2 * (b - a).days)
    assert cold.due == DAY + timedelta(days=21)
    tropical = check(work("wiring"), today=DAY + timedelta(30), growth=lambda a, b: 9.0 * (b - a).days)
    assert tropical.due == DAY + timedelta(days=10)  # nothing grows into wire faster
    assert check(work("wiring"), today=DAY, vigour="very strong").due == DAY + timedelta(days=16)


def test_one_more_look_in_early_autumn():
    late = check(work("wiring", date(2026, 8, 25), "old wood"), today=date(2026, 8, 30))
    assert late.due == date(2026, 9, 12)
    autumn = check(work("wiring", date(2026, 10, 1), "old wood"), today=date(2026, 10, 2))
    assert autumn.due == date(2026, 11, 12)


def test_wire_that_was_taken_off_is_forgotten():
    on, off = work("wiring"), work("wire-removal", DAY + timedelta(days=30))
    assert check(on, off, today=DAY + timedelta(days=60)) is None
    again = work("wiring", DAY + timedelta(days=40))
    assert check(on, off, again, today=DAY + timedelta(days=60)).due == DAY + timedelta(days=61)
    assert check(today=DAY) is None and "never unwind" in check(on, today=DAY).sentence


# ------------------------------------------------------------------------------------------- cautions


def said(operations, *species, trees=1):
    return " ".join(cautions(operations, [SPECIES[s] for s in species], trees))


def test_cautions_stand_where_they_belong():
    assert "between trees" in said(["cutback"], "Ulmus parvifolia", trees=2)
    assert "between trees" not in said(["cutback"], "Ulmus parvifolia")
    assert "severe rash" in said(["cutback"], "Toxicodendron succedaneum")
    assert "Ficus carica: its sap irritates" in said(["cutback"], "Ficus carica")
    assert "notifiable" in said(["pruning"], "Malus halliana") and "Ladders" in said(["pruning"])
    assert "label" in said(["pest-treatment"]) and "licence" in said(["pest-treatment"])
    assert said(["feeding"], "Ficus carica") == ""
    assert said(["wiring"]) == "Look at it again in weeks, before it bites; mind your eyes."
    assert "Wiring: look at it again" in said(["wiring", "repotting"])  # of several works each is named


def test_diseases_are_told_of_the_species_that_get_them():
    both = said(["pruning"], "Prunus mume", "Malus halliana", "Buxus sempervirens")
    assert "Malus halliana: cut in a dry spell; fire blight and apple canker come in by wet wounds" in both
    assert "Prunus mume: cut in a dry spell; bacterial canker comes in by wet wounds" in both
    assert "Buxus sempervirens: cut in a dry spell; box blight comes in by wet leaves" in both
    assert "notifiable" not in said(["pruning"], "Prunus mume")
    assert "dry spell" not in said(["pruning"], "Acer palmatum")
