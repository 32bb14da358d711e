"""Which trees a grower means."""

from __future__ import annotations

import re
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phenology.language import tree_selection
from phenology.language.tree_selection import (
    _NUMBERED,
    _TAIL,
    Roster,
    in_order,
    label_list,
    place_of,
    select_trees,
)
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.records import Place, Stand, Tree

ON = date(2026, 7, 4)
TREES = [
    *(Tree(f"h{n}", f"Hornbeam {n}", "Carpinus laxiflora") for n in (1, 2, 3)),
    *(Tree(f"e{n}", f"Elm {n}", "Ulmus parvifolia") for n in (4, 5, 6, 7)),
    Tree("ob", "Old beech", "Fagus crenata"),
    Tree("h9", "Hornbeam 9", "Carpinus laxiflora", retired=date(2024, 1, 1)),
    Tree("sc", "Salt and pepper", "Carpinus laxiflora"),
]
ROSTER = Roster(
    TREES,
    places=[Place("b", "Bench", 40.0, 8.0), Place("r", "Roof", 40.0, 8.0)],
    stands=[
        *(Stand(f"s-{t.id}", t.id, "b") for t in TREES),
        Stand("m1", "h1", "r", date(2026, 6, 1)),
        Stand("m2", "e7", "r", date(2026, 8, 1)),
        Stand("m3", "ob", "r", date(2025, 6, 1)),
    ],
    common_names={
        "Carpinus laxiflora": ("loose-flower hornbeam",),
        "Ulmus parvifolia": ("lacebark elm",),
        "Fagus crenata": ("Siebold's beech",),
    },
    last=["e5", "h2"],
)


@pytest.mark.parametrize(
    "typed, labels",
    [
        ("Elm 4", "Elm 4"),
        ("elm 4", "Elm 4"),
        ("elms", "Elm 4-7"),
        ("hornbeams", "Hornbeam 1-3, Salt and pepper"),  # the last by its species
        ("Carpinus laxiflora", "Hornbeam 1-3, Salt and pepper"),
        ("Ulmus", "Elm 4-7"),
        ("lacebark elms", "Elm 4-7"),
        ("beeches", "Old beech"),
        ("salt and pepper", "Salt and pepper"),
        ("Elm 4, Hornbeam 2", "Hornbeam 2, Elm 4"),
        ("elm 4 and 6", "Elm 4, Elm 6"),
        ("elms 4-6", "Elm 4-6"),
        ("elms 5, 7 and hornbeam 1", "Hornbeam 1, Elm 5, Elm 7"),
        ("7", "Elm 7"),
        ("all", "Hornbeam 1-3, Elm 4-7, Old beech, Salt and pepper"),
        ("all but 7", "Hornbeam 1-3, Elm 4-6, Old beech, Salt and pepper"),
        ("all but 2 and 7", "Hornbeam 1, Hornbeam 3, Elm 4-6, Old beech, Salt and pepper"),
        ("all but the elms", "Hornbeam 1-3, Old beech, Salt and pepper"),
        ("elms except 4-6", "Elm 7"),
        ("all except Old beech, elms", "Hornbeam 1-3, Salt and pepper"),
        ("roof", "Hornbeam 1, Old beech"),
        ("on the roof", "Hornbeam 1, Old beech"),
        ("hornbeams on the roof", "Hornbeam 1"),
        ("all on the roof", "Hornbeam 1, Old beech"),
        ("elms at the bench but 5", "Elm 4, Elm 6, Elm 7"),
        ("same as last time", "Hornbeam 2, Elm 5"),
        ("same", "Hornbeam 2, Elm 5"),
        ("same but 5", "Hornbeam 2"),
        ("Hornbeam 9", "Hornbeam 9"),  # retired: only by its label
    ],
)
def test_what_is_typed_means_these_trees(typed, labels):
    assert label_list(tree.label for tree in select_trees(typed, ROSTER, on=ON)) == labels


@pytest.mark.parametrize(
    "typed, near",
    [("hornbeem", "hornbeam"), ("Elm 44", "elm 4"), ("rooof", "roof"), ("hornbeams, eelms", "elm")],
)
def test_an_unknown_name_is_answered_with_near_ones(typed, near):
    with pytest.raises(UnknownNameError, match="Did you mean") as caught:
        select_trees(typed, ROSTER, on=ON)
    assert near in [name.casefold() for name in caught.value.near]


def test_a_number_no_tree_carries_is_unknown():
    with pytest.raises(UnknownNameError, match="no tree called '88'"):
        select_trees("88", ROSTER, on=ON)


def test_a_number_that_two_trees_carry_asks_for_the_name():
    roster = Roster([Tree("a", "Elm 1", "Ulmus"), Tree("b", "Oak 1", "Quercus")])
    with pytest.raises(InputError, match="'1' may be Elm 1, Oak 1; write the name too"):
        select_trees("1", roster, on=ON)
    assert [t.label for t in select_trees("oak 1", roster, on=ON)] == ["Oak 1"]


def test_nothing_left_nothing_before_and_no_trees_are_said():
    with pytest.raises(InputError, match="leaves no tree"):
        select_trees("elms but elms", ROSTER, on=ON)
    with pytest.raises(InputError, match="no earlier look or work"):
        select_trees("same", Roster(TREES), on=ON)
    with pytest.raises(InputError, match="no trees yet; add one"):
        select_trees("all", Roster([]), on=ON)


def test_where_a_tree_stands_follows_its_moves():
    assert place_of("e7", ROSTER.stands, date(2026, 7, 31)) == "b"
    assert place_of("e7", ROSTER.stands, date(2026, 8, 1)) == "r"
    assert place_of("nobody", ROSTER.stands, ON) is None


def test_labels_sort_as_a_person_would():
    trees = [Tree(label, label, "x") for label in ("Elm 10", "Elm 2", "beech", "Elm 1b", "7")]
    assert [t.label for t in in_order(trees)] == ["7", "beech", "Elm 1b", "Elm 2", "Elm 10"]


@given(st.lists(st.sampled_from(TREES), min_size=1, unique=True))
def test_a_list_of_labels_reads_back_as_those_trees(trees):
    named = in_order(trees)
    typed = label_list(t.label for t in named)
    assert {t.id for t in select_trees(typed, ROSTER, on=ON)} == {t.id for t in trees}


def test_a_word_of_a_name_is_enough_when_one_species_here_has_it():
    trees = [
        Tree("1", "A", "Acer buergerianum"),
        Tree("2", "B", "Acer palmatum"),
        Tree("3", "C", "Ulmus minor"),
    ]
    names = {"Acer buergerianum": ("trident maple",), "Acer palmatum": ("Japanese maple",)}
    roster = Roster(trees, common_names=names)
    assert [t.label for t in select_trees("trident", roster, on=date(2026, 7, 4))] == ["A"]
    assert [t.label for t in select_trees("palmatum", roster, on=date(2026, 7, 4))] == ["B"]
    doubled = Roster([*trees, Tree("4", "D", "Tilia minor")])
    with pytest.raises(InputError, match="'minor' may be Ulmus minor or Tilia minor"):
        select_trees("minor", doubled, on=date(2026, 7, 4))


@pytest.mark.parametrize("text", ["#" * 60_000, "# " * 30_000, "beech " * 9_000, "1-" * 30_000])
def test_a_cat_on_the_keyboard_is_answered(text: str) -> None:
    """Each would take hours if any part of it were read over and over."""
    with pytest.raises(InputError, match=r"(?s)^.{,200}$"):
        select_trees(text, Roster([Tree("1", "Beech 1", "Fagus sylvatica")]), on=date(2026, 6, 14))


def test_a_list_is_read_once_however_long(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    labelled = Roster.labelled
    monkeypatch.setattr(Roster, "labelled", lambda self, text: asked.append(text) or labelled(self, text))
    trees = [Tree(str(n), label, "Fagus sylvatica") for n, label in enumerate(("Beech", "Oak, old and big"))]
    for times in (200, 400):
        asked.clear()
        found = select_trees("beech," * times + "oak, old and big", Roster(trees), on=date(2026, 6, 14))
        assert [tree.label for tree in found] == ["Beech", "Oak, old and big"]
        assert len(asked) < 8 * times


def test_trees_of_a_place_are_found_in_one_look_at_where_trees_stand(monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[int] = []
    found = tree_selection.place_of
    monkeypatch.setattr(
        tree_selection, "place_of", lambda id, own, on: read.append(len([*own])) or found(id, own, on)
    )
    roster = Roster([], [Place("b", "bench", 48, 8)], [])
    for n in range(50):
        roster.add(Tree(str(n), f"Beech {n}", "Fagus sylvatica"), [Stand(f"s{n}", str(n), "b")])
    assert len(select_trees("bench", roster, on=ON)) == 50
    assert sum(read) == 50
    assert len(select_trees("beeches", roster, on=ON)) == len(roster.trees) == 50


@given(text=st.text("a #1\t", max_size=12))
def test_between_name_and_number_stand_spaces_and_signs(text: str) -> None:
    """The plain way to write the two patterns, which takes the square of the length."""
    for quick, plain in (
        (_TAIL, r"(?P<stem>.*\S)[ #]+(?P<number>\d{1,9})"),
        (_NUMBERED, r"(?P<stem>.*\S)[ #]+(?P<from>\d{1,9})(?:\s*(?:-|–|to)\s*(?P<to>\d{1,9}))?"),
    ):
        found, wanted = quick.fullmatch(text), re.fullmatch(plain, text)
        assert (found and found.groups()) == (wanted and wanted.groups())
