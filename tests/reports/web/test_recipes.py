"""The recipes of docs/phone.md that start flushcast with the computer, as far as they can be held here."""

from __future__ import annotations

import os
import plistlib
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from reports.cli.main import cli

PAGE = (Path(__file__).parents[3] / "docs" / "phone.md").read_text(encoding="utf-8")
UNIT = re.findall(r"```\n(\[Unit\].*?)```", PAGE, re.DOTALL)[0]
PROPERTIES = plistlib.loads(re.findall(r"```\n(<\?xml.*?)```", PAGE, re.DOTALL)[0].encode())
TASK = re.findall(r'schtasks .*/tr "(.*)"', PAGE)[0]


@pytest.mark.parametrize(
    "words",
    [re.findall(r"ExecStart=(.*)", UNIT)[0].split(), PROPERTIES["ProgramArguments"], TASK.split()],
    ids=["systemd", "launchd", "Task Scheduler"],
)
def test_what_they_run_is_a_command_of_ours(words: list[str]) -> None:
    program, garden, _, command, *options = words
    assert re.search(r"flushcast(\.exe)?$", program) and garden == "--garden"
    known = cli.get_command(None, command)  # type: ignore[arg-type]
    assert known is not None and {*options} <= {name for one in known.params for name in one.opts}


def test_the_unit_of_systemd_is_one(tmp_path: Path) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("needs systemd-analyze (apt-get install systemd)")
    unit = tmp_path / "flushcast.service"
    unit.write_text(re.sub(r"ExecStart=\S+", "ExecStart=/bin/true", UNIT))
    told = subprocess.run(
        ["systemd-analyze", "--user", "verify", unit], capture_output=True, text=True, check=False,
        env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path)},
    )  # fmt: skip
    assert (told.returncode, told.stderr) == (0, "")
