"""Two hands at one garden: nothing that was acknowledged is lost, and nothing is there twice."""

from __future__ import annotations

import sys
from pathlib import Path

import click
import pytest

from data_sources.garden import open_journal, read_settings
from data_sources.garden_settings import GardenSettings
from phenology.model.records import Tree
from tests.faults.hands import at_once
from tests.reports.bench import Bench, new_bench

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="hands are forked")

ROUNDS = 6


def tree(bench: Bench, label: str) -> Tree:
    with open_journal(bench.folder) as journal:
        (found,) = (one for one in journal.trees() if one.label == label)
        return found


@pytest.mark.parametrize("folder", ["garden", "Dropbox"])  # the write-ahead log, the rollback mode
def test_two_edits_of_one_tree_are_both_kept(tmp_path: Path, folder: str) -> None:
    bench = new_bench(tmp_path / folder)
    for n in range(ROUNDS):
        edits = ["--pot", f"a{n}"], ["--vigour", f"b{n}"], ["--note", f"c{n}"]
        for command, answer in at_once(bench, *([["tree", "edit", "Elm 1", *edit]] for edit in edits)):
            assert answer.code == 0, (command, answer)
        after = tree(bench, "Elm 1")
        assert (after.pot, after.vigour, after.note) == (f"a{n}", f"b{n}", f"c{n}")


def test_two_settings_set_at_once_are_both_kept(tmp_path: Path) -> None:
    bench = new_bench(tmp_path / "garden")
    for n in range(ROUNDS):
        changes = ["hot-day", f"{30 + n}"], ["odds", f"0.{60 + n}"], ["contact", f"me{n}@example.org"]
        own = ["species", "Ulmus parvifolia", "--set", f"leaves=5-{7 + n}"]
        for command, answer in at_once(bench, *([["settings", *one]] for one in changes), [own]):
            assert answer.code == 0, (command, answer)
        after = read_settings(bench.folder)
        assert (after.hot_day, after.odds, after.contact) == (30 + n, (60 + n) / 100, f"me{n}@example.org")
        assert after.species["Ulmus parvifolia"]["leaves"] == [5, 7 + n]


def test_work_and_an_edit_of_the_same_tree_are_both_kept(tmp_path: Path) -> None:
    bench = new_bench(tmp_path / "garden")
    for n in range(ROUNDS):
        day = f"2026-07-{10 + n}"
        work = ["work", "Elm 1", "repotting", "--date", day]
        for command, answer in at_once(bench, [work], [["tree", "edit", "Elm 1", "--note", f"n{n}"]]):
            assert answer.code == 0, (command, answer)
        after = tree(bench, "Elm 1")
        assert (str(after.last_repot), after.note) == (day, f"n{n}")


def test_a_tree_added_twice_at_once_is_there_once(tmp_path: Path) -> None:
    bench = new_bench(tmp_path / "garden")
    for n in range(ROUNDS):
        add = [["tree", "add", f"Maple {n}", "Acer buergerianum"]]
        answers = [answer for _, answer in at_once(bench, add, add, add)]
        assert sorted(answer.code for answer in answers) == [0, 1, 1]
        assert all("already" in answer.words for answer in answers if answer.code)
        tree(bench, f"Maple {n}")


def test_the_same_look_and_file_taken_in_twice_at_once_are_there_once(tmp_path: Path) -> None:
    bench = new_bench(tmp_path / "garden")
    file = tmp_path / "looks.csv"
    file.write_text("date,tree,stage\n2026-04-02,Hornbeam 1,budbreak\n2026-05-02,Hornbeam 1,extending\n")
    look, taken = [["look", "Elm 1", "budbreak", "--date", "2026-04-04"]], [["import", file]]
    for command, answer in at_once(bench, look, look, taken, taken):
        assert answer.code == 0, (command, answer)
    with open_journal(bench.folder) as journal:
        assert len(journal.looks()) == 3


def test_what_changes_while_the_grower_is_asked_is_seen_before_saving(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ "Save?" is asked of a plan; if the tree has moved on meanwhile, the new plan is asked again."""
    bench = new_bench(tmp_path / "garden")
    bench.does("look", "Elm 1", "budbreak", "--date", "2026-04-04")
    asked: list[str] = []

    def confirm(question: str, **_: object) -> bool:
        asked.append(question)
        if len(asked) == 1:  # another hand writes the same look down before the answer is typed
            bench.does("look", "Elm 1", "extending", "--date", "2026-04-20")
            bench.does("tree", "edit", "Elm 1", "--label", "Old elm")
        return True

    monkeypatch.setattr("reports.cli.writing.entry_commands.may_ask", lambda: True)
    monkeypatch.setattr(click, "confirm", confirm)
    monkeypatch.setattr(click, "prompt", lambda *_, **__: "seen")
    answer = bench("look", "elm", "extending", "--date", "about 20 April")
    assert answer.code == 0 and "Old elm" in answer.err
    assert [question.split(":")[0] for question in asked] == ["Elm 1", "Old elm"]


def test_season_start_cannot_move_under_a_look_that_is_being_written(tmp_path: Path) -> None:
    for n in range(4):
        bench = new_bench(tmp_path / f"garden{n}")
        look = ["look", "Elm 1", "budbreak", "--date", "2026-04-04"]
        at_once(bench, [look], [["settings", "season-start", "03-01"]])
        with open_journal(bench.folder) as journal:
            seasons = {flush.season for flush in journal.flushes()}
        moved = read_settings(bench.folder).season_start
        assert seasons == {2026} and moved in (None, "03-01")
        if moved:  # then it moved first, and the look was counted from it
            assert "cannot change" in bench.refuses("settings", "season-start", "--reset")


@pytest.mark.slow
@pytest.mark.parametrize("folder", ["garden", "Dropbox"])
def test_four_hundred_edits_at_once_lose_none(tmp_path: Path, folder: str) -> None:
    """Eight hands, fifty edits each, of the same tree, settings and looks; the history tells every one."""
    bench = new_bench(tmp_path / folder)
    fields = ("--pot", "--vigour", "--note")
    hands = []
    for hand in range(8):
        mine = []
        for n in range(50):
            if hand < 3:
                mine.append(["tree", "edit", "Elm 1", fields[hand], f"{hand}.{n}"])
            elif hand < 5:
                mine.append(["settings", ("contact", "name")[hand - 3], f"{hand}.{n}@example.org"])
            elif hand < 7:
                mine.append(["tree", "add", f"New {hand}.{n}", "Ulmus parvifolia"])
            else:
                mine.append(["place", "edit", "Bench", "--note", f"{hand}.{n}"])
        hands.append(mine)
    answers = at_once(bench, *hands)
    assert [(command, answer) for command, answer in answers if answer.code] == []
    after, settings = tree(bench, "Elm 1"), read_settings(bench.folder)
    assert (after.pot, after.vigour, after.note) == ("0.49", "1.49", "2.49")
    assert (settings.contact, settings.name) == ("3.49@example.org", "4.49@example.org")
    with open_journal(bench.folder) as journal:
        labels = [change.label for change in journal.history()]
        assert sum(label.startswith("changed") for label in labels) == 200
        assert len(journal.trees()) == 3 + 100 and journal.places()[0].note == "7.49"
        assert journal.check() is None
    assert settings.units == GardenSettings().units
