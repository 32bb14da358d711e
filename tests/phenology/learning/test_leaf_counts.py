"""Leaf counts as they are written, and which of a flush's counts say something."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phenology.learning.flush_history import histories
from phenology.learning.leaf_counts import FlushCounts, counts_of, mean_and_sd, parse_counts
from tests.phenology.gardens import Records, day

END = date(2020, 12, 31)


@pytest.mark.parametrize(
    "text, counts",
    [
        ("5 6 5", (5, 6, 5)),
        ("5,6,5", (5, 6, 5)),
        ("5; 6;5", (5, 6, 5)),
        ("5-6", (5.5,)),
        ("5 - 6, 7", (5.5, 7)),
        ("5 to 6", (5.5,)),
        ("4.5", (4.5,)),
        ("0", (0,)),
        ("lots", ()),
        ("5 or so", ()),
        ("about 5", ()),
        ("-3", ()),
        ("5--6", ()),
        ("300", ()),
        ("5 6 300", ()),
        ("", ()),
        (None, ()),
    ],
)
def test_counts_are_read_or_left_alone_never_guessed(text, counts):
    assert parse_counts(text) == counts


@settings(max_examples=60)
@given(st.text(max_size=12))
def test_any_text_is_read_or_left_alone(text):
    assert all(0 <= n <= 60 for n in parse_counts(text))


@settings(max_examples=60)
@given(st.lists(st.integers(1, 12), min_size=1, max_size=6))
def test_more_shoots_that_agree_are_surer_but_never_certain(counts):
    mean, sd = mean_and_sd(counts)
    assert min(counts) - 1e-9 <= mean <= max(counts) + 1e-9
    assert mean_and_sd(counts + counts)[1] < sd
    assert sd > 0.3


def counted(*looks, **more):
    """What the counts of one flush of 2020 tell; looks are (day, stage, leaves)."""
    records = Records()
    records.tree("elm")
    flush = records.flush("elm", 2020)
    for n, stage, leaves, *rest in looks:
        records.look(flush, n, stage, leaves=leaves, **(rest[0] if rest else {}))
    for n, operation in more.get("works", ()):
        records.work("elm", 2020, n, operation)
    garden = records.garden(END)
    return counts_of(garden, histories(garden)[0])


def test_the_last_count_in_growth_and_the_last_at_the_end_are_kept():
    told = counted((105, "budbreak", "1 1 2"), (115, "extending", "3 3 3"), (130, "extended", "6 6 7"))
    assert told.growing.day == 115 and told.growing.leaves == 3
    assert told.final.leaves == pytest.approx(19 / 3)


@pytest.mark.parametrize("leaves", ["lots", "0 0 0", "0 1 1", "300", None])
def test_counts_that_tell_no_pace_are_kept_out(leaves):
    assert counted((105, "budbreak", None), (115, "extending", leaves)) == FlushCounts()


def test_a_text_that_is_no_count_does_not_hide_an_earlier_one_that_is():
    assert counted((110, "extending", "2 3 2"), (115, "extending", "lots")).growing.day == 110


def test_a_vague_date_keeps_its_width():
    told = counted((110, "extending", "3 3 3", {"until": 116})).growing
    assert (told.earliest, told.latest, told.day) == (110, 116, 113)


@pytest.mark.parametrize("stage", ["dormant", "swelling", "turning", "bare"])
def test_other_stages_count_for_nothing(stage):
    assert counted((110, stage, "3 3 3")) == FlushCounts()


def test_a_count_on_hard_leaves_is_the_final_one_and_tells_no_pace():
    told = counted((110, "budbreak", None), (160, "hardened", "6 6 5"))
    assert told.growing is None and told.final is not None


@pytest.mark.parametrize(
    "operation, kept", [("cutback", 3.0), ("pinching", 3.0), ("halving", 2.0), ("wiring", 2.0)]
)
def test_shoots_that_work_has_shortened_are_not_counted(operation, kept):
    told = counted((110, "extending", "3 3 3"), (125, "extending", "2 2 2"), works=[(120, operation)])
    assert told.growing.leaves == kept


def test_pruning_the_bare_tree_leaves_the_counts_alone():
    told = counted((20, "dormant", None), (110, "extending", "3 3 3"), works=[(40, "cutback")])
    assert told.growing.leaves == 3


def test_on_the_day_of_a_cut_the_look_came_first():
    looks = (130, "extended", None), (160, "hardened", "6 6 6")
    assert counted(*looks, works=[(160, "cutback")]).final.leaves == 6
    assert counted(*looks, works=[(159, "cutback")]).final is None


def test_growth_that_was_checked_or_lost_tells_nothing():
    assert counted((115, "extending", "3 3 3", {"checked": True})) == FlushCounts()
    assert counted((115, "extending", "3 3 3"), (120, "extending", None, {"lost": True})) == FlushCounts()


def test_a_count_inside_the_tree_gives_way_to_one_of_the_whole():
    inside = (118, "extending", "1 1 1", {"part": "inside"})
    assert counted((115, "extending", "3 3 3"), inside).growing.leaves == 3
    assert counted(inside).growing.leaves == 1


def test_counts_are_known_only_from_their_day_on():
    records = Records()
    records.tree("elm")
    flush = records.flush("elm", 2020)
    records.look(flush, 110, "extending", leaves="3 3 3")
    records.look(flush, 118, "extending", leaves="5 5 5")
    garden = records.garden(day(2020, 112))
    assert counts_of(garden, histories(garden)[0]).growing.leaves == 3
