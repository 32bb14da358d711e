"""What the README promises: its commands exist, are all named, and its tour runs as printed."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

from reports.cli.main import COMMANDS
from tests.reports.demo import flushcast, looked_back

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def test_every_command_is_in_the_readme() -> None:
    table = README[README.index("| command |") :]
    named = set(re.findall(r"`(?:flushcast )?([\w-]+)`", table))
    assert set(COMMANDS) <= named


def test_every_command_the_readme_names_exists() -> None:
    used = re.findall(r"^(?:\$ )?flushcast (?:--garden \S+ )?([\w-]+)", README, flags=re.MULTILINE)
    assert used and set(used) <= set(COMMANDS)


def test_the_test_command_of_the_readme_is_what_ci_runs() -> None:
    command = re.search(r"^python3 -m venv .*pytest$", README, flags=re.MULTILINE)
    assert command and command.group() in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_the_tour_runs_as_printed(tmp_path: Path, monkeypatch) -> None:
    """Each command of the tour prints what the README shows of it, but for figures, which looks move."""
    monkeypatch.chdir(tmp_path)
    with looked_back():
        made = flushcast("demo", "--date", "2026-06-14")
    shown = README.split("```\n")
    assert squeezed(shown[5]) in squeezed(made.stdout)
    steps = [block for block in shown if block.startswith("$ flushcast")]
    assert len(steps) == 3
    for block in steps:
        for step in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, _, printed = step.partition("\n")
            done = flushcast(*shlex.split(command)[1:])
            assert done.returncode == 0, done.stderr
            assert squeezed(printed) in squeezed(done.stdout + done.stderr)


def squeezed(text: str) -> str:
    """Text without line breaks and figures."""
    return re.sub(r"\d+", "#", " ".join(text.split()))
