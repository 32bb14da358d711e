"""Everyday words for stages, work, marks and parts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from phenology.language.words import (
    MARK_WORDS,
    OPERATION_WORDS,
    PART_WORDS,
    STAGE_WORDS,
    find_event,
    find_mark,
    find_operation,
    find_part,
    find_stage,
    plain_words,
)
from phenology.model.errors import InputError, UnknownNameError
from phenology.model.operations import Operation
from phenology.model.stages import Stage


@pytest.mark.parametrize(
    "word, stage",
    [
        ("soft", "extending"),
        ("still going", "extending"),
        ("stopped", "extended"),
        ("firm", "hardened"),
        ("Hard", "hardened"),
        ("leathery", "hardened"),
        ("Bud-Break", "budbreak"),
        ("green tips", "budbreak"),
        ("swel", "swelling"),
        ("hardened.", "hardened"),
        ("dor", "dormant"),
    ],
)
def test_a_plain_word_or_its_beginning_is_enough(word, stage):
    assert find_stage(word) == stage


def test_a_beginning_that_fits_two_stages_asks():
    with pytest.raises(InputError, match="'exten' may be extending or extended"):
        find_stage("exten")


def test_a_misspelt_stage_is_answered_with_near_ones():
    with pytest.raises(UnknownNameError, match=r"no stage called 'hardend'\. Did you mean hardened"):
        find_stage("hardend")


def test_a_word_near_nothing_is_answered_with_the_whole_list():
    with pytest.raises(InputError, match="it is one of dormant, swelling, budbreak"):
        find_stage("qqqq")


@pytest.mark.parametrize(
    "table, finder",
    [
        (STAGE_WORDS, find_stage),
        (OPERATION_WORDS, find_operation),
        (MARK_WORDS, find_mark),
        (PART_WORDS, find_part),
    ],
)
def test_every_listed_word_finds_its_name_and_no_word_is_listed_twice(table, finder):
    seen = {}
    for name, words in table.items():
        for word in (name, *words):
            assert finder(word) == name
            assert finder(word.upper()) == name
            assert seen.setdefault(plain_words(word), name) == name
    assert len(seen) == sum(1 + len(words) for words in table.values())


def test_the_lists_cover_every_stage_and_operation():
    assert tuple(STAGE_WORDS) == tuple(Stage)
    assert set(OPERATION_WORDS) == set(Operation)


def test_what_wakes_a_flush():
    waking = {kind for kind in Operation if kind.wakes}
    assert waking == {"cutback", "partial-defoliation", "full-defoliation", "pinching"}
    assert [kind for kind in Operation if kind.partial] == ["partial-defoliation"]


def test_an_unknown_operation_is_refused_with_near_ones():
    with pytest.raises(UnknownNameError, match="Did you mean halving"):
        find_operation("halfing")
    with pytest.raises(UnknownNameError, match="no operation called 'halved leaf'"):
        Operation("halved leaf")


@given(st.text(max_size=15))
def test_any_text_is_a_stage_or_one_sentence(text):
    try:
        assert find_stage(text) in Stage
    except InputError as error:
        assert "\n" not in str(error).replace(text, "")


@pytest.mark.parametrize(
    "text, event",
    [
        ("leaves hard", Stage.HARDENED),
        ("leaves down", Stage.BARE),
        ("all shoots stopped", Stage.EXTENDED),
        ("cut back", Operation.CUTBACK),
        ("repotted", Operation.REPOTTING),
        ("swell", Stage.SWELLING),
        ("Rückschnitt", Operation.CUTBACK),
        ("débourrement", Stage.BUDBREAK),
        ("uitgehard", Stage.HARDENED),
    ],
)
def test_a_stage_or_work_is_known_where_both_may_stand(text, event):
    assert find_event(text) is event


def test_only_what_could_be_meant_is_offered():
    with pytest.raises(
        UnknownNameError, match=r"no stage or work called 'cutbak'\. Did you mean cutback"
    ) as e:
        find_event("cutbak")
    assert e.value.near == ("cutback",)
    with pytest.raises(UnknownNameError) as e:
        find_event("moon")
    assert e.value.near == ()


def test_work_written_as_a_stage_is_told_where_it_goes():
    with pytest.raises(InputError, match=r"'cut back' is work \(cutback\), not a stage; .*flushcast work"):
        find_stage("cut back")
    with pytest.raises(InputError, match=r"'firm' is a stage \(hardened\), not work; .*flushcast look"):
        find_operation("firm")
