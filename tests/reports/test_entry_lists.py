"""Looks and work are listed and taken out in the same way."""

from __future__ import annotations

import pytest

from tests.reports.bench import Bench, new_bench

DONE = {"look": "soft", "work": "halving"}


@pytest.fixture
def bench(tmp_path) -> Bench:
    return new_bench(tmp_path / "garden")


@pytest.mark.parametrize("command", ["look", "work"])
def test_the_newest_stand_first_with_all_that_was_said_of_them(bench, command):
    said = [command, "Elm 1", DONE[command]]
    bench.does(*said, "--date", "2 June")
    bench.does(command, "hornbeams", DONE[command], "--date", "9 June", "--who", "A", "--note", "late")
    lines = bench.does(command, "--list").out.splitlines()
    assert [line.split()[2] for line in lines[1:]] == ["9", "9", "2"]  # id, weekday, day
    assert sum("by A; late" in line for line in lines) == 2
    mine = bench.does(command, "Elm 1", "--list").out.splitlines()
    assert len(mine) == 2 and "Elm 1" in mine[1] and "by A" not in mine[1]


@pytest.mark.parametrize("command", ["look", "work"])
def test_what_is_taken_out_is_named_and_comes_back_with_undo(bench, command):
    none = bench.does(command, "--list").out
    bench.does(command, "Elm 1", DONE[command], "--date", "2 June")
    listed = bench.does(command, "--list").out
    told = bench.does(command, "--remove", listed.splitlines()[1].split()[0]).words
    assert told.startswith("Taken out: Elm 1: ") and "2 Jun" in told and "flushcast undo" in told
    assert bench.does(command, "--list").out == none
    bench.does("undo")
    assert bench.does(command, "--list").out == listed
