"""A book of many trees' flushes and looks gives each tree's record, whatever is changed in it."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import count

from hypothesis import given, settings
from hypothesis import strategies as st

from phenology.model.errors import StageOrderError
from phenology.model.records import Flush, Look, Work
from phenology.model.season import SeasonCalendar
from phenology.model.stages import Stage
from phenology.records.entries import look_changes, without_look
from phenology.records.flushes import BY_DATE, TreeRecord
from phenology.records.record_book import RecordBook

NORTH, TODAY = SeasonCalendar(), date(2026, 12, 31)


def look(id, tree, day, stage):
    when = date(2024, 1, 1) + timedelta(days=day)
    return Look(id, tree, "", stage, when.isoformat(), when, when)


def test_a_tree_s_record_holds_the_season_and_the_ones_beside_it():
    flushes = [Flush(f"f{year}", "t", year, "season") for year in range(2020, 2027)]
    looks = [Look(f"k{f.season}", "t", f.id, "hardened", "x", TODAY, TODAY) for f in flushes]
    other = Flush("other", "u", 2023, "season")
    book = RecordBook(NORTH, [*flushes, other], looks, [Work("w", "t", "feeding", "x", TODAY, TODAY)])
    record = book.around("t", "Elm 1", date(2023, 6, 1))
    assert [f.season for f in record.flushes] == [2022, 2023, 2024]
    assert [k.id for k in record.looks] == ["k2022", "k2023", "k2024"]
    assert [w.id for w in book.works()] == ["w"]
    assert len(list(book.flushes())) == 8 and len(list(book.looks())) == 7


@given(
    st.lists(
        st.tuples(st.sampled_from("tu"), st.integers(0, 900), st.sampled_from(Stage), st.booleans()),
        max_size=12,
    )
)
@settings(max_examples=60)
def test_the_book_agrees_with_a_record_kept_by_hand(entries):
    ids = count()
    book, kept = RecordBook(NORTH), {"t": {}, "u": {}}
    for tree, day, stage, take_out in entries:
        new = look(f"k{next(ids)}", tree, day, stage)
        record = book.around(tree, tree, new.latest)
        try:
            changes = look_changes(new, record, NORTH, today=TODAY, new_id=lambda: f"f{next(ids)}")
        except StageOrderError:
            continue
        book.apply(changes)
        now = book.around(tree, tree, new.latest)
        plain = TreeRecord(tree, now.flushes, now.looks[::-1])  # of looks in any order
        assert [sorted(now.looks_of(f), key=BY_DATE) == now.looks_of(f) for f in now.flushes] == [True] * len(
            now.flushes
        )
        assert all({*now.looks_of(f)} == {*plain.looks_of(f)} for f in now.flushes)
        for entry in changes.save:
            if isinstance(entry, Look):
                kept[tree][entry.id] = entry
        if take_out:
            mine = kept[tree].pop(new.id)
            book.apply(without_look(mine, book.around(tree, tree, new.latest)))
    assert {k.id: k for k in book.looks()} == kept["t"] | kept["u"]
    assert {k.flush_id for k in book.looks()} <= {f.id for f in book.flushes()}
