"""A file that may grow no further, as on a full disk: one sentence, and the garden as it was."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.proof import ROOT, prepared, state
from tests.reports.bench import Bench

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits of POSIX")


def limited(bench: Bench, size: int, *command: str) -> subprocess.CompletedProcess[str]:
    """A command that may make no file larger than so many bytes."""
    limit = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, ({size}, {size}))"
    return subprocess.run(
        [sys.executable, "-c", f"{limit}\nfrom reports.cli.main import main\nmain()",
         "--garden", str(bench.folder), *command],
        env={**os.environ, "FLUSHCAST_TODAY": bench.today, "PYTHONDONTWRITEBYTECODE": "1"},
        cwd=ROOT, capture_output=True, check=False, text=True,
    )  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("folder", ["garden", "Dropbox"])
def test_a_change_that_does_not_fit_is_not_half_made(tmp_path: Path, folder: str) -> None:
    bench = prepared(tmp_path / folder / "garden")
    before, refused = state(bench), 0
    journal = (bench.folder / "journal.sqlite").stat().st_size
    long = "a note " * 15_000  # arguments may hold no more
    commands = [
        ("look", "Elm 1", "soft", "--note", long),
        ("import", str(tmp_path / folder / "files" / "looks.csv")),
        ("settings", "contact", long),
        ("weather", "add", str(tmp_path / folder / "files" / "more.csv"), "--units", "C"),
        ("backup",),
        ("export", str(tmp_path / "out")),
    ]
    for size in (0, 512, 4096, 20_000, journal // 2, journal):
        for command in commands[:: 1 if size in (0, 20_000) else 2]:
            done = limited(bench, size, *command)
            assert done.returncode in (0, 1), done.stderr
            assert "Traceback" not in done.stderr and "unexpected" not in done.stderr
            if done.returncode:
                refused += 1
                assert state(bench) == before, (size, command)
            else:
                bench("undo") if command[0] in ("look", "import") else None
                before = state(bench)
    assert refused > 10
    bench.does("look", "Elm 1", "soft")
    assert not [path for path in bench.folder.rglob("*") if path.name.endswith(".part")]
