"""`flushcast init` in a real terminal of 80 columns: slips are asked again, nothing answered is lost."""

from __future__ import annotations

import os
import select
import signal
import sys
import time
from pathlib import Path

import pytest

from data_sources.garden import open_journal, read_settings

pty = pytest.importorskip("pty", reason="needs a pseudo-terminal")
PATIENCE = 40.0  # seconds until a question counts as never asked
MAIN = "from reports.cli.main import main; main()"
CTRL_C = "\x03"


class Terminal:
    """A command in a pseudo-terminal, answered question by question."""

    def __init__(self, *arguments: object) -> None:
        self.told = ""
        self.pid, self.screen = pty.fork()
        if self.pid == 0:
            signal.signal(signal.SIGINT, signal.SIG_DFL)  # test workers ignore it
            os.environ |= {"COLUMNS": "80", "FLUSHCAST_TODAY": "2026-05-10"}
            os.execv(sys.executable, [sys.executable, "-c", MAIN, *map(str, arguments)])

    def answer(self, question: str, line: str) -> None:
        """Wait for a question and type a line."""
        assert self._read(question), f"never asked '{question}':\n{self.told}"
        os.write(self.screen, (line if line == CTRL_C else f"{line}\n").encode())

    def end(self, again: str = "") -> int:
        """Wait for the end, typing something again whenever nothing happens; returns the exit code."""
        self._read(None, again)
        return os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])

    def _read(self, until: str | None, again: str = "") -> bool:
        start, end = len(self.told), time.monotonic() + PATIENCE
        while time.monotonic() < end:
            quiet = not select.select([self.screen], [], [], 2.0)[0]
            if quiet and again:
                os.write(self.screen, again.encode())
            elif not quiet:
                try:
                    more = os.read(self.screen, 1 << 16)
                except OSError:  # the other side is closed
                    return False
                if not more:
                    return False
                self.told += more.decode("utf-8", "replace").replace("\r\n", "\n")
            if until is not None and until in self.told[start:]:
                return True
        os.kill(self.pid, 9)
        return False


@pytest.mark.slow
def test_init_asks_slips_again_and_ends_with_a_date_for_every_tree(tmp_path: Path) -> None:
    terminal = Terminal("init", tmp_path / "g")
    terminal.answer("Town or village", "Petersham, Massachusetts")  # no such town in the list
    terminal.answer("Which one", "this")
    terminal.answer("write a number from 0 to", "0")
    terminal.answer("Town or village", "Worcester, Massachusetts")
    terminal.answer("Height", "rather high")
    terminal.answer("Height", "480 ft")
    terminal.answer("A tree as", "Big trident=Acer buergeranum")
    terminal.answer("Which, or", "1")
    terminal.answer("A tree as", "Beech")
    terminal.answer("Which, or", "7")
    terminal.answer("Which, or", "1")
    terminal.answer("A tree as", "Odd one=Quercus mysteriosa")
    terminal.answer("A tree as", "")
    terminal.answer("Beech: at now", "")
    terminal.answer("Beech: done last", "")
    terminal.answer("Big trident: at now", "sofd")
    terminal.answer("Big trident: at now", "soft")
    terminal.answer("Big trident: done last", "repotted")
    terminal.answer("Big trident: done last", "repotted March")
    terminal.answer("Odd one: at now", "")
    terminal.answer("Odd one: done last", "")
    assert terminal.end() == 0
    told = terminal.told
    assert "1  Petersham (New South Wales), Australia: 33.89 S" in told  # shown, not taken
    assert "'rather high' is no elevation" in told and "Did you mean soft (extending)?\n" in told
    assert "write it with the day" in told.lower()
    forecast = told[told.index("2026 season, as of") : told.index("\nNext:")]
    for tree in ("Big trident", "Beech", "Odd one"):
        assert f"\n{tree}: " in forecast
    assert "Lengthening on May 10; hard about" in forecast
    assert forecast.count("a guess") >= 3
    assert max(map(len, forecast.splitlines())) <= 80
    settings = read_settings(tmp_path / "g")
    assert (settings.units, settings.date_order) == ("F", "month-first")
    with open_journal(tmp_path / "g") as journal:
        assert {t.label: t.species for t in journal.trees()} == {
            "Big trident": "Acer buergerianum",
            "Beech": "Fagus sylvatica",
            "Odd one": "Quercus mysteriosa",
        }
        assert journal.places()[0].elevation == pytest.approx(146.3)
        assert [look.stage for look in journal.looks()] == ["extending"]
        assert [work.operation for work in journal.works()] == ["repotting"]


def test_ctrl_c_keeps_what_was_answered(tmp_path: Path) -> None:
    terminal = Terminal("init", tmp_path / "g", "--lat", "47.2", "--lon", "8.3", "--elevation", "410")
    terminal.answer("A tree as", "Elm 1=Chinese elm")
    terminal.answer("A tree as", CTRL_C)
    assert terminal.end(again=CTRL_C) == 0  # one typed between two prompts may go unheard
    assert "everything you answered is kept" in terminal.told
    with open_journal(tmp_path / "g") as journal:
        assert [tree.label for tree in journal.trees()] == ["Elm 1"]
