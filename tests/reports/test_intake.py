"""Files taken in without anybody who is asked: planned once, questions as data, saved as one change."""

from __future__ import annotations

from dataclasses import replace

import pytest

from data_sources.garden import open_journal
from data_sources.tables.text_table import split_table
from phenology.model.errors import InputError
from reports.entries import intake
from reports.entries.intake import answered, garden_answers, prepare, save
from reports.garden.open_garden import OpenGarden
from tests.reports.bench import TODAY, Bench, new_bench


@pytest.fixture
def bench(tmp_path, monkeypatch):
    monkeypatch.setenv("FLUSHCAST_TODAY", TODAY)
    return new_bench(tmp_path / "garden")


def tables(*texts):
    return [split_table(f"file{n}.csv", text) for n, text in enumerate(texts, 1)]


LOOKS = "date,tree,stage\n2026-05-01,Elm 1,soft\n2026-06-01,Elm 1,firm\n"


def looks(bench: Bench):
    with open_journal(bench.folder) as journal:
        return [(look.latest.month, str(look.stage)) for look in journal.looks()]


def planned_times(monkeypatch):
    made, plan = [], intake.plan_import
    monkeypatch.setattr(intake, "plan_import", lambda *a, **more: made.append(plan(*a, **more)) or made[-1])
    return made


def test_what_was_prepared_is_saved_as_it_was_shown(bench, monkeypatch):
    made = planned_times(monkeypatch)
    with OpenGarden(bench.folder) as garden:
        shown = prepare(garden, tables(LOOKS), garden_answers(garden))
        assert looks(bench) == []
        assert list(save(garden, shown).account()) == ["file1.csv: 2 new looks."]
    assert len(made) == 1 and looks(bench) == [(5, "extending"), (6, "hardened")]


def test_it_is_planned_again_where_others_wrote_meanwhile(bench, monkeypatch):
    made = planned_times(monkeypatch)
    with OpenGarden(bench.folder) as garden:
        shown = prepare(garden, tables(LOOKS), garden_answers(garden))
        bench.does("look", "Elm 1", "soft", "--date", "2026-05-01")
        assert list(save(garden, shown).account()) == ["file1.csv: 1 new look, 1 there already."]
    assert len(made) == 2 and looks(bench) == [(5, "extending"), (6, "hardened")]


def test_questions_are_data_and_each_answer_leads_on(bench):
    text = "date,tree,species,stage,leafed out\n4/5/2026,Oak 1,Quercus robur,soft,9/5/2026\n"
    with OpenGarden(bench.folder) as garden:
        answers, asked = replace(garden_answers(garden), usual_order=None, strict=False), []
        while questions := (found := prepare(garden, tables(text), answers)).questions:
            asked += [question.what for question in questions]
            reply = {"date_order": "day-first", "column": "extended", "new_trees": "yes"}
            for question in questions:
                answers = answered(answers, question, reply[question.what])
        assert asked == ["date_order", "column", "new_trees"] and not found.plan.problems
        assert [row.said for row in found.plan.rows if row.fate == "new"] == [
            "Oak 1: extending, 4 May 2026",
            "Oak 1: extended, 9 May 2026",
        ]


def test_a_column_of_dates_is_asked_about_with_one_of_its_own_dates(bench):
    first = "tree,bud break,uncle's visit\nElm 1,8 April 2026,9 May 2026\n"
    second = "tree,bud break\nHornbeam 1,9 April 2026\n"
    with OpenGarden(bench.folder) as garden:
        found = prepare(garden, tables(first, second), replace(garden_answers(garden), strict=False))
        (question,) = found.questions
        assert (question.what, question.role) == ("column", "uncle's visit") and "9 May 2026" in str(question)
        passed = prepare(garden, tables(first, second), answered(found.answers, question, "-"))
        assert passed.questions == [] and passed.fresh == 2


def test_records_that_cannot_be_kept_leave_the_garden_as_it_was(bench, monkeypatch):
    from data_sources.journal.changes import Batch

    with OpenGarden(bench.folder) as garden:
        shown = prepare(garden, tables(LOOKS), garden_answers(garden))

        def full(self):
            raise InputError("the disk is full")

        monkeypatch.setattr(Batch, "finish", full)
        with pytest.raises(InputError, match="the disk is full"):
            save(garden, shown)
    assert looks(bench) == []
