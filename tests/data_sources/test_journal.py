"""The journal's everyday work: batches, readers, undo and history."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

from data_sources.journal.schema import TABLES, ImportMap, columns
from data_sources.journal.store import Journal
from data_sources.journal_questions import all_records
from data_sources.sqlite.schema import migrate
from phenology.model.errors import InputError
from phenology.model.records import Aim, Flush, Look, Place, Stand, Tree, Work
from phenology.model.stages import Part, Stage
from tests.data_sources.journal_help import DAY, GARDEN, PLACE, TREE, a_look, rows_of, some_work


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    with Journal.open(tmp_path / "journal.sqlite", create=True, device="bench phone") as journal:
        with journal.batch("set up") as batch:
            for record in GARDEN:
                batch.insert(record)
        yield journal


def look(journal: Journal, id: str, **how: object) -> None:
    with journal.batch(f"looked: {id}") as batch:
        batch.insert(replace(a_look(id), **how))  # type: ignore[arg-type]


def test_the_tables_have_the_columns_of_the_records() -> None:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    migrate(connection, Journal.schema)
    for table in TABLES:
        made = [(row[1], not row[3]) for row in connection.execute(f"PRAGMA table_info({table})")]
        assert made == [(column.name, column.optional) for column in columns(table)]
    connection.close()


def test_every_kind_of_record_comes_back_as_it_was(journal: Journal) -> None:
    records = (
        Place("p2", "Søndre hylde", -33.5, 151.25, 12.5, "Australia/Sydney", "net", "half", "it's “dry”"),
        Tree(
            "t2", "ブナ", "Fagus crenata", "30 cm", date(2024, 3, 1), "strong", "leaf", date(2026, 1, 1), ""
        ),
        Stand("s2", "t2", "p2", date(2025, 5, 1)),
        Aim("a2", "t2", "refining", date(2025, 5, 1)),
        Work("w2", "t2", "cutback", "about 4 July", date(2026, 6, 30), DAY, "top", True, "A", "n"),
        Flush("f2", "t2", 2026, "work", DAY, "w2", "cutback", "top", DAY, "rested"),
        Look("k2", "t2", "f2", "hardened", "4/7", DAY, DAY, "happened", True, True, "top", "5,6", "B", "x"),
        ImportMap("m2", '["a"]', "look", '{"a": "date"}'),
    )
    with journal.batch("all kinds") as batch:
        assert all(batch.insert(record) for record in records)
    assert [journal.get(type(record), record.id) for record in records] == list(records)
    assert [type(name) for name in (journal.looks()[-1].stage, journal.works()[-1].part)] == [Stage, Part]


def test_readers_answer_for_one_tree_and_from_a_day_on_in_order_of_date(journal: Journal) -> None:
    with journal.batch("two trees, three looks") as batch:
        batch.insert(Tree("t2", "Beech", "Fagus crenata"))
        batch.insert(Flush("f2", "t2", 2026, "season"))
        batch.insert(a_look("late", date(2026, 8, 1)))
        batch.insert(a_look("early", date(2026, 6, 1)))
        batch.insert(replace(a_look("other", date(2026, 7, 1)), tree_id="t2", flush_id="f2"))
        batch.insert(some_work("w1", date(2026, 7, 2)))
    assert [k.id for k in journal.looks()] == ["early", "other", "late"]
    assert [k.id for k in journal.looks("t1")] == ["early", "late"]
    assert [k.id for k in journal.looks(since=date(2026, 7, 1))] == ["other", "late"]
    assert [k.id for k in journal.looks("t1", since=date(2026, 7, 1))] == ["late"]
    assert [w.id for w in journal.works("t1")] == ["w1"] and journal.works("t2") == []
    assert journal.works(since=date(2026, 7, 3)) == []
    assert [f.id for f in journal.flushes("t2")] == ["f2"]
    assert [t.label for t in journal.trees()] == ["Beech", "Elm 1"]
    assert journal.places() == [PLACE] and journal.stands() == [Stand("s1", "t1", "p1")]
    assert len(journal.looks()) == 3


def test_a_batch_that_fails_changes_nothing(journal: Journal) -> None:
    with pytest.raises(ZeroDivisionError), journal.batch("halfway") as batch:
        batch.insert(a_look("k1"))
        raise ZeroDivisionError
    assert journal.looks() == [] and journal.history(limit=1)[0].label == "set up"


def test_saying_the_same_again_is_nothing_and_saying_otherwise_is_an_error(journal: Journal) -> None:
    look(journal, "k1")
    with journal.batch("again") as batch:
        assert batch.insert(a_look("k1")) is False
    assert journal.history(limit=1)[0].label == "looked: k1"
    with pytest.raises(InputError, match=r"look: id k1 is taken by a row with other stage, note"):
        look(journal, "k1", stage="hardened", note="firm")


def test_save_adds_or_brings_up_to_date(journal: Journal) -> None:
    with journal.batch("twice") as batch:
        assert batch.save(a_look("k1"))
        assert batch.save(a_look("k1", note="firm"))
        assert not batch.save(a_look("k1", note="firm"))
    assert journal.looks() == [a_look("k1", note="firm")]
    assert journal.undo() == ["twice"] and journal.looks() == []


def test_update_and_delete_name_what_is_not_there(journal: Journal) -> None:
    with journal.batch("renamed") as batch:
        assert batch.update(Tree, "t1", label="Elm by the door").label == "Elm by the door"
    with pytest.raises(InputError, match="no tree with id t9"), journal.batch("x") as batch:
        batch.update(Tree, "t9", label="x")
    with pytest.raises(InputError, match="colour cannot be changed"), journal.batch("x") as batch:
        batch.update(Tree, "t1", colour="red")
    with pytest.raises(InputError, match="id cannot be changed"), journal.batch("x") as batch:
        batch.update(Tree, "t1", id="t2")
    with pytest.raises(InputError, match="no look with id k9"), journal.batch("x") as batch:
        batch.delete(Look, "k9")


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        (replace(a_look("k1"), kind="heard"), "CHECK constraint"),
        (replace(a_look("k1"), latest=date(2026, 7, 1)), "CHECK constraint"),
        (replace(a_look("k1"), note=5), "'note' must be text, got 5"),
        (replace(a_look("k1"), earliest=None), "'earliest' must be a date, got None"),
        (replace(a_look("k1"), note="\ud800"), "'note' must be text"),
        (replace(a_look("k1"), note="a\0b"), "'note' must be text"),
        (replace(PLACE, id="p2", latitude=float("nan")), "'latitude' must be a number"),
        (replace(PLACE, id="p2", latitude=91.0), "CHECK constraint"),
        (replace(a_look("k1"), flush_id="f9"), "look k1 needs a flush that is not in the journal"),
        (Stand("s2", "t9", "p1"), "stand s2 needs a tree that is not in the journal"),
    ],
)
def test_what_cannot_stand_is_refused_with_its_reason(journal: Journal, record: Look, reason: str) -> None:
    with pytest.raises(InputError, match=reason), journal.batch("wrong") as batch:
        batch.insert(record)
    assert len(journal.history()) == 1 and journal.check() is None


def test_rows_of_a_batch_come_in_any_order_but_must_end_whole(journal: Journal) -> None:
    with journal.batch("child first") as batch:
        batch.insert(Flush("f2", "t2", 2026, "work", DAY, "w2"))
        batch.insert(replace(some_work("w2"), tree_id="t2"))
        batch.insert(Tree("t2", "Beech", "Fagus crenata"))
    with pytest.raises(InputError, match="flush f2 needs a work"), journal.batch("taken out") as batch:
        batch.delete(Work, "w2")
    assert journal.get(Work, "w2") is not None


def test_undo_takes_back_batches_newest_first_and_redo_undoes_that(journal: Journal) -> None:
    look(journal, "k1")
    with journal.batch("corrected k1") as batch:
        batch.update(Look, "k1", stage="hardened")
    with journal.batch("removed k1") as batch:
        batch.delete(Look, "k1")
    assert journal.undo() == ["removed k1"]
    assert journal.looks()[0].stage == "hardened"
    assert journal.undo(2) == ["corrected k1", "looked: k1"]
    assert journal.looks() == [] and journal.trees() == [TREE]
    assert journal.redo(2) == ["looked: k1", "corrected k1"]
    assert journal.looks()[0].stage == "hardened"
    assert journal.undo() == ["corrected k1"]  # what holds again can be taken back again
    assert journal.redo() == ["corrected k1"]
    assert journal.redo() == ["removed k1"]
    assert journal.looks() == [] and journal.redo() == []
    assert journal.check() is None


def test_undo_past_the_beginning_takes_back_what_there_is(journal: Journal) -> None:
    look(journal, "k1")
    assert journal.undo(99) == ["looked: k1", "set up"]
    assert journal.undo() == [] and journal.trees() == []
    with pytest.raises(InputError, match="1 or more, got 0"):
        journal.undo(0)


def test_a_redo_that_no_longer_fits_is_refused_whole(journal: Journal) -> None:
    look(journal, "k1")
    journal.undo()
    look(journal, "k1", note="another")
    with pytest.raises(InputError, match="cannot take back 'looked: k1'"):
        journal.redo()
    assert journal.looks()[0].note == "another"


def test_history_says_what_was_done_when_where_and_what_no_longer_holds(journal: Journal) -> None:
    at = datetime(2026, 7, 4, 8, 30, tzinfo=UTC)
    with journal.batch("looked: Elm 1 soft", at=at) as batch:
        batch.insert(a_look("k1"))
        batch.insert(some_work("w1"))
    with journal.batch("added: Beech") as batch:
        batch.insert(Tree("t2", "Beech", "Fagus crenata"))
    journal.undo(2)
    undid, undid_first, added, looked, set_up = journal.history()
    assert (undid.label, undid_first.label) == ("undid: looked: Elm 1 soft", "undid: added: Beech")
    assert (looked.at, looked.device, looked.rows) == (at, "bench phone", {"look": 1, "work": 1})
    assert [c.undone for c in (added, looked, set_up)] == [True, True, False]
    assert undid.undoes == looked.batch
    assert [c.label for c in journal.history("t2")] == ["undid: added: Beech", "added: Beech"]
    assert journal.history(limit=1) == [undid]


def test_a_batch_needs_a_label_and_a_zone(journal: Journal) -> None:
    with pytest.raises(InputError, match="needs a label"), journal.batch(" ") as batch:
        batch.insert(a_look("k1"))
    with pytest.raises(InputError, match="time zone"), journal.batch("x", at=datetime(2026, 7, 4)):
        pass
    with journal.batch("") as batch:
        batch.insert(a_look("k1"))
        batch.label = "looked: Elm 1"
    assert journal.history(limit=1)[0].label == "looked: Elm 1"


def test_an_error_of_the_caller_inside_a_batch_stays_its_own(journal: Journal) -> None:
    with pytest.raises(FileNotFoundError), journal.batch("photo") as batch:
        batch.insert(a_look("k1"))
        Path("no such photo").read_bytes()
    assert journal.looks() == []


def test_changes_can_be_neither_edited_nor_deleted(journal: Journal) -> None:
    for statement in (
        "DELETE FROM change",
        "UPDATE change SET after = NULL",
        "DELETE FROM batch",
        "UPDATE batch SET label = 'x'",
        "UPDATE changed_tree SET id = 'x'",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            journal.connection.execute(statement)


def test_a_snapshot_is_of_one_point_in_time(journal: Journal) -> None:
    with journal.snapshot():
        assert journal.looks() == []
        with Journal.open(journal.path) as other:
            look(other, "k1")
        assert journal.looks() == []
    assert [k.id for k in journal.looks()] == ["k1"]


def test_the_tables_rebuild_a_journal_exactly_with_its_history(journal: Journal, tmp_path: Path) -> None:
    look(journal, "k1", note="firm")
    look(journal, "k2")
    journal.undo()
    records, changes = all_records(journal), list(journal.export_changes())
    every = [record for table in TABLES for record in records.of(table)]
    with Journal.open(tmp_path / "copy.sqlite", create=True) as copy:
        copy.rebuild(every, changes)
        assert rows_of(copy) == rows_of(journal)
        assert copy.check() is None and copy.redo() == ["looked: k2"]
        with pytest.raises(InputError, match="only an empty journal"):
            copy.rebuild(every, changes)
