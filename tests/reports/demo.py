"""The demo garden for tests of commands: made once, copied for whoever changes it."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from datetime import date
from functools import cache
from pathlib import Path
from tempfile import mkdtemp

from data_sources.demo.garden import store_demo

DAY = date(2026, 6, 14)


@cache
def demo_folder(day: date = DAY, south: bool = False) -> Path:
    """A demo garden that nobody may change."""
    folder = Path(mkdtemp(prefix="flushcast-test-")) / "demo"
    store_demo(folder, day, south=south)
    return folder


def own_demo(tmp_path: Path, day: date = DAY, south: bool = False) -> Path:
    """A demo garden of the test's own."""
    return Path(shutil.copytree(demo_folder(day, south), tmp_path / "garden"))


def flushcast(*arguments: object, today: str | None = None) -> subprocess.CompletedProcess[str]:
    """Run the real command line in a process of its own."""
    env = {**os.environ, **({"FLUSHCAST_TODAY": today} if today else {})}
    command = [sys.executable, "-m", "reports.cli.main", *map(str, arguments)]
    return subprocess.run(
        command, capture_output=True, text=True, env=env, check=False, stdin=subprocess.DEVNULL
    )
