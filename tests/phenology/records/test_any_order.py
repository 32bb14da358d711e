"""Typed or imported in any order, the same looks and work give the same flushes."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import count

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from phenology.language.vague_dates import parse
from phenology.model.errors import LookError, StageOrderError
from phenology.model.operations import Operation
from phenology.model.records import Look, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage
from phenology.records.entries import look_changes, work_changes
from phenology.records.record_book import RecordBook

NORTH, TODAY = SeasonCalendar(), date(2026, 12, 31)
OF_A_FLUSH = (Stage.SWELLING, Stage.BUDBREAK, Stage.EXTENDING, Stage.EXTENDED, Stage.HARDENED)


def look(when, stage):
    day = parse(str(when), today=TODAY)
    return Look(f"{stage} {when}", "t", "", stage, str(when), day.earliest, day.latest)


def cutback(when):
    day = parse(str(when), today=TODAY)
    return Work(f"cutback {when}", "t", Operation.CUTBACK, str(when), day.earliest, day.latest)


@st.composite
def diaries(draw):
    """Two seasons of a tree in order of date: each entry, and whether the grower has to say "a new flush"."""
    entries = []
    for year in (2025, 2026):
        day = date(year, 3, 1) + timedelta(draw(st.integers(0, 40)))
        pushes_again = False
        for flush in range(draw(st.integers(1, 3))):
            seen = [s for s in OF_A_FLUSH if draw(st.booleans()) and (s is not Stage.SWELLING or not flush)]
            if pushes_again:
                seen = [Stage.BUDBREAK, *(s for s in seen if s is not Stage.BUDBREAK)]
            for stage in seen:
                day += timedelta(draw(st.integers(12, 25)))
                entries.append((look(day, stage), pushes_again))
                pushes_again = False
            if day > date(year, 8, 20):
                break
            day += timedelta(draw(st.integers(0, 10)))
            pushes_again = bool(seen) and seen[-1] in (Stage.EXTENDED, Stage.HARDENED) and draw(st.booleans())
            if not pushes_again:
                entries.append((cutback(day), False))
        if draw(st.booleans()):
            day = max(day, date(year, 9, 10)) + timedelta(20)
            entries += [(look(day, Stage.TURNING), False), (look(day + timedelta(30), Stage.DORMANT), False)]
    return entries


def written_down(entries, *, answer_new_flush=False):
    """The flush of each look and all flushes, told without ids, after writing entries down as they come."""
    ids = count()
    book, how = RecordBook(NORTH), {"today": TODAY, "new_id": lambda: f"f{next(ids)}"}
    for entry, new_flush in entries:
        record = book.around("t", "Elm 1", entry.latest)
        if isinstance(entry, Work):
            book.apply(work_changes(entry, record, NORTH, **how))
            continue
        try:
            changes = look_changes(entry, record, NORTH, new_flush=new_flush, **how)
        except StageOrderError:
            if not answer_new_flush:
                raise
            changes = look_changes(entry, record, NORTH, new_flush=True, **how)
        book.apply(changes)
    flushes = {
        f.id: (f.season, f.started_by, f.started_on, f.work_id, f.ended_on, f.ended_why)
        for f in book.flushes()
    }
    return {k.id: flushes[k.flush_id] for k in book.looks()}, sorted(map(str, flushes.values()))


@given(diaries(), st.randoms(use_true_random=False))
@settings(max_examples=150)
def test_in_whatever_order_entries_come_they_make_the_same_flushes_or_a_question(diary, chance):
    try:
        in_order = written_down(diary)
    except LookError:  # a diary that nobody could have written
        return
    shuffled = chance.sample(diary, len(diary))
    try:
        assert written_down(shuffled) == in_order
    except StageOrderError as question:  # what is missing as yet would answer it
        assert "A new flush, or a wrong look?" in str(question)


@given(diaries())
@settings(max_examples=100)
def test_work_written_down_after_all_the_looks_makes_the_flushes_that_it_makes_before_them(diary):
    try:
        in_order = written_down(diary)
    except LookError:
        return
    looks = [one for one in diary if isinstance(one[0], Look)]
    works = [one for one in diary if isinstance(one[0], Work)]
    assert written_down([*works, *looks]) == in_order
    assert written_down([*looks, *works], answer_new_flush=True) == in_order


@pytest.mark.parametrize("cut", ["2026-06-05", "2026-06-15", "2026-06-25"])
def test_leaves_hard_some_time_in_june_are_those_cut_in_june_whichever_is_written_down_first(cut):
    spring = [(look("2026-04-04", Stage.BUDBREAK), False)]
    hard, work = (look("June 2026", Stage.HARDENED), False), (cutback(cut), False)
    before, after = written_down([*spring, hard, work]), written_down([*spring, work, hard])
    assert before == after
    assert before[0]["hardened June 2026"][1] == "season"


def test_once_the_old_leaves_are_known_to_be_hard_a_later_hardening_is_of_the_new_ones():
    looks = [(look("2026-04-04", Stage.BUDBREAK), False), (look("2026-05-28", Stage.HARDENED), False)]
    found, _ = written_down(
        [*looks, (look("July 2026", Stage.HARDENED), False), (cutback("2026-07-02"), False)]
    )
    assert found["hardened July 2026"][1] == "work"


def test_a_cut_written_down_late_takes_the_looks_of_what_it_woke_with_it():
    spring = [(look("2026-03-15", Stage.BUDBREAK), False), (cutback("2026-03-20"), False)]
    then = [(look("2026-04-08", Stage.EXTENDING), False), (look("2026-05-15", Stage.HARDENED), False)]
    in_order = written_down([*spring, *then])
    assert written_down([spring[0], *then, spring[1]]) == in_order
    assert in_order[0]["hardened 2026-05-15"][1] == "work"


def test_a_new_flush_said_of_the_first_growth_after_a_cut_is_the_one_that_the_cut_woke():
    found, flushes = written_down(
        [
            (look("2026-06-01", Stage.HARDENED), False),
            (cutback("2026-06-05"), False),
            (look("2026-06-25", Stage.BUDBREAK), True),
        ]
    )
    assert found["budbreak 2026-06-25"][1] == "work" and len(flushes) == 2
