"""How far to cut: the rules of thumb, one by one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phenology.model.errors import InputError
from phenology.work.shoot import DIRECTIONS, SPOKEN, Leaf, asked, described, direction, how_far


def test_two_leaves_stay_as_a_rule():
    cut = how_far(described("left; out; in; up"))
    assert (cut.after, cut.kept, cut.points) == (2, 2, "out")
    assert cut.why == ("Two leaves stay, the usual length.",)
    assert "needs no wire" in cut.wire and "bud of leaf 2 opens" in cut.next and "outward" in cut.next


def test_a_budless_lowest_leaf_does_not_count():
    cut = how_far(asked(True, "left", "out"))
    assert (cut.after, cut.kept) == (3, 2)
    assert "does not count" in cut.why[0]


def test_one_leaf_where_the_second_points_inward():
    cut = how_far(asked(False, "out", "in"))
    assert (cut.after, cut.points) == (1, "out") and "points inward" in cut.why[0]


def test_one_leaf_where_internodes_are_long():
    assert how_far(asked(False, "out", "left"), long_internodes=True).after == 1
    told = described("out 8; left 20; out 9")
    assert how_far(told, usual_mm=9).after == 1
    assert how_far(told, usual_mm=16).after == 2
    assert how_far(told).after == 2  # nobody said what is usual


def test_long_internodes_force_the_first_leaf_and_wire_turns_it():
    cut = how_far(asked(False, "in", "out"), long_internodes=True)
    assert cut.after == 1 and cut.points == "in" and "wire will turn" in cut.why[0]
    assert "turn it outward with wire" in cut.wire


@pytest.mark.parametrize("way", ["up", "down", "in"])
def test_the_first_leaf_where_the_second_points_wrong(way):
    cut = how_far(asked(False, "out", way))
    assert (cut.after, cut.points) == (1, "out") and "needs no wire" in cut.wire
    assert cut.why == (f"The second leaf points {SPOKEN[way]}, so the cut goes back to the first.",)


@pytest.mark.parametrize(
    "first, second, after, words",
    [("in", "in", 1, "turn it outward"), ("in", "up", 2, "rise and grow strong"),
     ("down", "in", 1, "hang and grow weak"), ("up", "down", 1, "rise and grow strong")],
)  # fmt: skip
def test_wire_where_neither_serves(first, second, after, words):
    cut = how_far(asked(False, first, second))
    assert cut.after == after and words in cut.wire and "no other serves" in cut.why[0]


def test_a_third_leaf_is_never_kept_for_its_direction():
    assert how_far(described("in; in; left")).after == 1


def test_of_opposite_leaves_usually_one_pair_stays():
    cut = how_far(asked(True, "left", "right", opposite=True))
    assert (cut.after, cut.kept) == (2, 1) and cut.why[-1] == "One pair stays, the usual length."
    assert cut.buds == ("left", "right") and "both are kept and make a fork, left and right" in cut.next


def test_the_better_placed_bud_of_a_pair_is_kept_and_said():
    rubbed = how_far(described("out+in; left+right"))
    assert rubbed.after == 1 and rubbed.buds == ("out",) and rubbed.points == "out"
    assert "keep the one that points outward, and rub off the other" in rubbed.next
    flat = how_far(described("up+down; left+right"))
    assert flat.after == 2 and "which lies flat" in flat.why[0] and flat.buds == ("left", "right")
    neither = how_far(described("up+down; up+down"))
    assert neither.after == 1 and neither.buds == ("up",) and "wire it down" in neither.wire


def test_a_species_may_keep_more_or_fewer():
    wisteria = described("; ".join(["left", "right"] * 4))
    assert how_far(wisteria, keeps=(4, 6)).kept == 6
    assert how_far(wisteria, keeps=(4, 6), long_internodes=True).kept == 4
    assert how_far(described("left; out; up; in"), keeps=(2, 3)).kept == 2
    assert how_far(described("left+right; left+right"), keeps=(1, 2)).kept == 2


def test_without_any_bud_nothing_is_cut():
    with pytest.raises(InputError, match="do not cut it"):
        how_far(described("out no bud; in no bud"))
    assert how_far(described("out no bud; left")).kept == 1


shoots = st.lists(
    st.builds(Leaf, st.sampled_from(DIRECTIONS).map(lambda w: (w,)), st.booleans(), st.none()),
    min_size=1,
    max_size=8,
)


@settings(max_examples=200)
@given(shoots, st.booleans())
def test_never_to_a_budless_leaf_and_never_inward_while_one_of_two_serves(leaves, long_internodes):
    if not any(leaf.bud for leaf in leaves):
        with pytest.raises(InputError):
            how_far(leaves, long_internodes=long_internodes)
        return
    cut = how_far(leaves, long_internodes=long_internodes)
    kept = leaves[cut.after - 1]
    assert kept.bud and cut.kept == sum(leaf.bud for leaf in leaves[: cut.after]) and cut.why
    first_two = [leaf for leaf in leaves if leaf.bud][:2]
    if cut.points == "in":
        assert long_internodes or not any(leaf.serves for leaf in first_two)


@pytest.mark.parametrize(
    "text, sentence",
    [("", "describe the leaves"), ("out; sky 9", "leaf 2, 'sky 9'"), ("out; 9", "needs a direction"),
     ("out+in+left", "needs a direction")],
)  # fmt: skip
def test_what_cannot_be_read_is_named(text, sentence):
    with pytest.raises(InputError, match=sentence.replace("+", r"\+")):
        described(text)


def test_directions_take_everyday_words():
    assert [direction(w) for w in ("Outward", "inside", "l", "sideways")] == ["out", "in", "left", "left"]
    with pytest.raises(InputError, match="no direction called 'north'"):
        direction("north")
