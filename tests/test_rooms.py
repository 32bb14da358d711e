"""The shape of the house: arrows run one way, the science is pure, and nothing heavy is loaded early."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("phenology", "data_sources", "reports")
MAY_NOT_IMPORT = {"phenology": {"data_sources", "reports"}, "data_sources": {"reports"}, "reports": set()}
HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "statsmodels", "meteostat", "requests", "rich", "babel")
NOT_FOR_FORECAST = ("pandas", "matplotlib", "statsmodels", "meteostat", "requests", "rich", "jinja2", "babel")


def modules(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def imports(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module


@pytest.mark.parametrize("room", ROOMS)
def test_arrows_run_one_way(room: str) -> None:
    wrong = [
        f"{path.relative_to(ROOT)} imports {name}"
        for path in modules(room)
        for name in imports(path)
        if name.split(".")[0] in MAY_NOT_IMPORT[room]
    ]
    assert modules(room) and not wrong


def test_phenology_reads_no_files_network_or_clock_and_prints_nothing() -> None:
    outside = {
        "pathlib",
        "io",
        "os",
        "sqlite3",
        "socket",
        "urllib",
        "requests",
        "subprocess",
        "time",
        "click",
    }
    wrong = [
        f"{path.name} imports {name}"
        for path in modules("phenology")
        for name in imports(path)
        if name.split(".")[0] in outside
    ]
    for path in modules("phenology"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                called = ast.unparse(node.func)
                if called in {"print", "open", "date.today", "datetime.now"}:
                    wrong.append(f"{path.name} calls {called}")
    assert not wrong


def test_dates_are_written_in_one_place() -> None:
    """`strftime` knows nothing of the garden's order of dates; ISO dates may be written by it."""
    own = ROOT / "phenology" / "language" / "date_style.py"
    by_hand = re.compile(r"%[aAbB]|%d[./]|\.day\} \{MONTHS")
    wrong = [
        f"{path.relative_to(ROOT)}: {line.strip()}"
        for room in ROOMS
        for path in modules(room)
        for line in path.read_text(encoding="utf-8").splitlines()
        if path != own and by_hand.search(line)
    ]
    assert not wrong


def test_every_module_says_what_it_is_for() -> None:
    silent = [
        p for room in ROOMS for p in modules(room) if not ast.get_docstring(ast.parse(p.read_text("utf-8")))
    ]
    assert not silent


def test_help_loads_nothing_heavy() -> None:
    assert not loaded_by(["--help"], HEAVY)


def loaded_by(arguments: list[str], names: tuple[str, ...]) -> set[str]:
    """Which of some packages a real run of a command has imported by its end."""
    code = (
        "import sys\n"
        "from reports.cli.main import main\n"
        f"try:\n    main({arguments!r})\n"
        "except SystemExit as end:\n    assert not end.code, end.code\n"
        f"print('LOADED', *[n for n in {names!r} if n in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=False)
    assert done.returncode == 0, done.stderr
    return set(done.stdout.splitlines()[-1].split()[1:])
