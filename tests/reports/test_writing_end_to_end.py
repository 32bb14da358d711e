"""The commands that write: a season in processes of their own, as a grower runs them, and at a terminal."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from pathlib import Path

import pytest

from data_sources.garden import open_journal
from tests.reports.demo import flushcast, flushcast_process

TODAY = "2026-07-25"


def run(garden: Path, *arguments: object) -> subprocess.CompletedProcess[str]:
    return flushcast("--garden", garden, *arguments, today=TODAY)


@pytest.fixture
def garden(tmp_path: Path) -> Path:
    folder = tmp_path / "garden"
    trees = ["--tree", "Hornbeam 1=Carpinus laxiflora", "--tree", "Hornbeam 2=Carpinus laxiflora"]
    done = flushcast("init", folder, "--lat", "47.2", "--lon", "8.3", *trees, today=TODAY)
    assert done.returncode == 0, done.stderr
    return folder


def test_a_season_at_the_bench(garden: Path, tmp_path: Path) -> None:
    steps = [
        ["look", "hornbeams", "breaking", "--date", "10 April"],
        ["look", "same", "still going", "--date", "late April", "--kind", "seen"],
        ["look", "hornbeams", "firm", "--date", "about 4 June"],
        ["work", "Hornbeam 1", "cutback", "--date", "10 June"],
        ["look", "Hornbeam 1", "breaking", "--date", "24 June"],
        ["export", tmp_path / "out"],
        ["undo"],
        ["import", tmp_path / "out"],
    ]
    for step in steps:
        done = flushcast_process("--garden", garden, *step, today=TODAY)
        assert done.returncode == 0, (step, done.stderr)
        assert done.stdout == ""
    with open_journal(garden) as journal:
        assert len(journal.looks()) == 7
        assert sorted(f.started_by for f in journal.flushes()) == ["season", "season", "work"]
        assert journal.check() is None


def test_what_cannot_be_done_is_one_line_and_exit_1(garden: Path) -> None:
    done = run(garden, "look", "hornbeems", "soft")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr.startswith("flushcast: there is no tree") and done.stderr.count("\n") == 1


def test_wrong_usage_is_exit_2(garden: Path) -> None:
    assert run(garden, "look", "--mark").returncode == 2
    assert run(garden, "work").returncode == 2


def test_nothing_is_asked_when_there_is_no_terminal(garden: Path, tmp_path: Path) -> None:
    path = tmp_path / "looks.csv"
    path.write_text("date,tree,stage\n4/5/2026,Hornbeam 1,soft\n")
    run(garden, "settings", "date-order", "--reset")
    assert "--date-order" in run(garden, "import", path).stderr
    path.write_text("date,tree,stage\nmid May,Hornbeam 1,soft\n")
    assert "--kind" in run(garden, "import", path).stderr
    assert flushcast("init", tmp_path / "new", today=TODAY).returncode == 2


def at_a_terminal(answers: str, *arguments: object) -> str:
    """Run flushcast with a terminal as stdin; returns what it said."""
    command, answering = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "reports.cli.main", *map(str, arguments)],
        stdin=answering,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        env={**os.environ, "FLUSHCAST_TODAY": TODAY},
        text=True,
    )
    os.close(answering)
    os.write(command, answers.encode())
    said, _ = process.communicate(timeout=60)
    os.close(command)
    assert process.returncode == 0, said
    return " ".join(said.split())


@pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")
def test_at_a_terminal_a_vague_date_is_shown_before_it_is_saved(garden: Path) -> None:
    said = at_a_terminal(
        "happened\ny\n", "--garden", garden, "look", "hornbeams", "firm", "--date", "mid July"
    )
    assert 'came about 11-20 Jul ("mid July"). Save?' in said
    at_a_terminal("n\n", "--garden", garden, "look", "hornbeams", "firm", "--date", "about 20 July")
    with open_journal(garden) as journal:
        assert [k.kind for k in journal.looks()] == ["happened", "happened"]


@pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")
def test_at_a_terminal_an_import_asks_once_for_what_only_the_grower_knows(
    garden: Path, tmp_path: Path
) -> None:
    path = tmp_path / "looks.csv"
    path.write_text("date,tree,stage\n4/5/2026,Hornbeam 1,soft\nmid June,Hornbeam 1,firm\n")
    run(garden, "settings", "date-order", "--reset")
    said = at_a_terminal("y\nhappened\ny\n", "--garden", garden, "import", path)
    assert "Day first?" in said and "2 new looks" in said
    with open_journal(garden) as journal:
        assert [(k.latest.month, k.kind) for k in journal.looks()] == [(5, "seen"), (6, "happened")]


@pytest.mark.skipif(os.name != "posix", reason="needs a pseudo-terminal")
def test_at_a_terminal_init_asks_for_what_it_needs(tmp_path: Path) -> None:
    answers = "\n47.2\n8.3\n410\nElm 1=Ulmus parvifolia\n\nsoft\n\n"
    said = at_a_terminal(answers, "init", tmp_path / "new")
    assert "Latitude" in said and "Bench at 47.20 N 8.30 E." in said
    assert "2026 season" in said and "Elm 1: Lengthening" in said
