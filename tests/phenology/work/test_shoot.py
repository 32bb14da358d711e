"""How far to cut: the rules of thumb, one by one."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phenology.model.errors import InputError
from phenology.work.shoot import DIRECTIONS, Leaf, asked, described, direction, how_far


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


def test_long_internodes_do_not_send_the_cut_to_an_inward_leaf():
    cut = how_far(asked(False, "in", "out"), long_internodes=True)
    assert cut.after == 2 and cut.points == "out" and "the second serves" in cut.why[0]


def test_inward_only_where_nothing_else_serves():
    assert how_far(described("in; in; left")).after == 3
    cut = how_far(described("in; in"))
    assert cut.after == 1 and cut.points == "in" and "no other serves" in cut.why[0]
    assert "turn it outward with wire" in cut.wire


@pytest.mark.parametrize("way, words", [("up", "rise and grow strong"), ("down", "hang and grow weak")])
def test_rising_and_hanging_shoots_are_told_to_be_wired(way, words):
    assert words in how_far(asked(False, "left", way)).wire


def test_opposite_leaves_are_pairs():
    cut = how_far(asked(True, "left", "right", opposite=True))
    assert (cut.after, cut.kept) == (3, 2) and "make a fork, right and left" in cut.next
    rubbed = how_far(described("left+right; out+in"))
    assert "rub off the one that points inward" in rubbed.next and rubbed.points == "out"
    flat = how_far(described("left+right; up+down"))
    assert flat.after == 1 and "lies flat" in flat.why[0]


def test_without_any_bud_nothing_is_cut():
    with pytest.raises(InputError, match="do not cut it"):
        how_far(described("out no bud; in no bud"))
    assert how_far(described("out no bud; left")).kept == 1


shoots = st.lists(
    st.builds(Leaf, st.sampled_from(DIRECTIONS).map(lambda w: (w,)), st.booleans(), st.none()),
    min_size=1,
    max_size=8,
)


@settings(max_examples=200, deadline=None)
@given(shoots, st.booleans())
def test_never_to_a_budless_leaf_and_never_inward_while_another_serves(leaves, long_internodes):
    if not any(leaf.bud for leaf in leaves):
        with pytest.raises(InputError):
            how_far(leaves, long_internodes=long_internodes)
        return
    cut = how_far(leaves, long_internodes=long_internodes)
    kept = leaves[cut.after - 1]
    assert kept.bud and cut.kept == sum(leaf.bud for leaf in leaves[: cut.after]) and cut.why
    if cut.points == "in":
        assert not any(leaf.bud and leaf.good for leaf in leaves)


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
