"""What writing down, correcting and taking out looks and work changes."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import count

import pytest

from phenology.model.errors import InputError
from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.records.entries import (
    Changes,
    look_changes,
    same_entry,
    stage_now,
    without_look,
    without_work,
    work_changes,
)
from phenology.records.flushes import TreeRecord

TODAY, NORTH = date(2026, 12, 31), SeasonCalendar()
EMPTY = TreeRecord("Elm 1")


def look(id, stage, month, day, **more):
    when = date(2026, month, day)
    return Look(id, "t", "", stage, when.isoformat(), when, when, **more)


def work(id, operation, month, day):
    when = date(2026, month, day)
    return Work(id, "t", operation, when.isoformat(), when, when)


@pytest.fixture
def write():
    numbers = count(1)

    def apply(record, entry, **how):
        make = work_changes if isinstance(entry, Work) else look_changes
        changes = make(entry, record, NORTH, today=TODAY, new_id=lambda: f"f{next(numbers)}", **how)
        return changes, changes.applied_to(record)

    return apply


def test_a_first_look_saves_its_flush_before_itself(write):
    changes, _ = write(EMPTY, look("a", "extending", 5, 1))
    assert [type(entry) for entry in changes.save] == [Flush, Look]
    assert changes.save[1].flush_id == changes.save[0].id


def test_waking_work_is_saved_before_the_flush_it_wakes(write):
    changes, record = write(EMPTY, work("w", "cutback", 6, 6))
    assert [type(entry) for entry in changes.save] == [Work, Flush, Flush]
    assert {f.started_by for f in record.flushes} == {"season", "work"}
    assert changes.waking.flush.work_id == "w"


def test_work_of_tomorrow_is_refused():
    with pytest.raises(InputError, match="6 Jun 2026 is in the future; write work down when it is done"):
        work_changes(work("w", "cutback", 6, 6), EMPTY, NORTH, today=date(2026, 6, 5), new_id=str)


def test_correcting_the_only_look_of_a_second_flush_takes_that_flush_away(write):
    _, record = write(EMPTY, look("a", "hardened", 6, 1))
    _, record = write(record, look("b", "budbreak", 6, 20), new_flush=True)
    changes, record = write(record, look("b", "hardened", 6, 20))
    assert [flush.started_by for flush in changes.remove] == ["seen"]
    assert len(record.flushes) == 1
    assert {k.flush_id for k in record.looks} == {record.flushes[0].id}


def test_a_correction_is_not_held_against_what_it_corrects(write):
    _, record = write(EMPTY, look("a", "hardened", 6, 1))
    changes, record = write(record, look("a", "extending", 6, 10))
    assert (changes.remove, [k.stage for k in record.looks]) == ((), ["extending"])


def test_correcting_a_loss_lets_the_flush_go_on(write):
    _, record = write(EMPTY, look("a", "budbreak", 4, 1))
    _, record = write(record, look("b", "extending", 4, 10, lost=True))
    _, record = write(record, look("b", "extending", 4, 10))
    assert [f.ended_on for f in record.flushes] == [None]


def test_correcting_the_only_look_of_a_season_keeps_its_flush(write):
    _, record = write(EMPTY, look("a", "extending", 4, 10, lost=True))
    flush = record.flushes[0].id
    _, record = write(record, look("a", "hardened", 6, 10))
    assert [(f.id, f.ended_on) for f in record.flushes] == [(flush, None)]


def test_taking_out_a_look_takes_out_a_flush_nothing_else_speaks_for(write):
    _, record = write(EMPTY, look("a", "extending", 5, 1))
    changes = without_look(record.looks[0], record)
    assert [type(entry) for entry in changes.remove] == [Look, Flush]
    assert changes.applied_to(record) == EMPTY


def test_taking_out_a_look_leaves_a_flush_that_work_woke(write):
    _, record = write(EMPTY, work("w", "cutback", 6, 6))
    _, record = write(record, look("a", "budbreak", 6, 20))
    changes = without_look(record.looks[0], record)
    assert [type(entry) for entry in changes.remove] == [Look]


def test_taking_out_the_look_that_lost_a_flush_lets_it_go_on(write):
    _, record = write(EMPTY, look("a", "budbreak", 4, 1))
    _, record = write(record, look("b", "extending", 4, 10, lost=True))
    assert record.flushes[0].ended_why == "lost"
    after = without_look(record.looks[-1], record).applied_to(record)
    assert after.flushes[0].ended_on is None and len(after.looks) == 1


def test_taking_out_work_takes_out_the_flush_it_woke_and_lets_the_old_one_go_on(write):
    _, record = write(EMPTY, look("a", "hardened", 6, 1))
    cut = work("w", "cutback", 6, 6)
    _, record = write(record, cut)
    changes = without_work(cut, record)
    after = changes.applied_to(record)
    assert changes.remove[-1] == cut  # its flush points at it, so it goes last
    assert [(f.started_by, f.ended_on) for f in after.flushes] == [("season", None)]


def test_taking_out_work_keeps_a_flush_that_was_seen(write):
    cut = work("w", "cutback", 6, 6)
    _, record = write(EMPTY, cut)
    _, record = write(record, look("a", "budbreak", 6, 20))
    after = without_work(cut, record).applied_to(record)
    seen = next(f for f in after.flushes if f.started_by == "seen")
    assert (seen.started_on, seen.work_id) == (date(2026, 6, 20), None)


def test_the_newest_look_says_how_a_tree_stands(write):
    _, record = write(EMPTY, look("a", "extending", 5, 1))
    _, record = write(record, look("b", "extended", 5, 1))
    assert stage_now(record.looks).id == "b"
    assert stage_now(EMPTY.looks) is None


def test_two_looks_are_the_same_when_they_say_the_same():
    one = look("a", "extending", 5, 1, who="me")
    assert same_entry(one, replace(one, id="b", flush_id="x", who=None, date_text="1 May"))
    assert not same_entry(one, replace(one, part="top"))


def test_no_changes_leave_a_record_as_it_is():
    assert Changes().applied_to(EMPTY) == EMPTY
