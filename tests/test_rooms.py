"""The shape of the house: the science is pure, and nothing heavy is loaded early. Arrows: see pyproject."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("phenology", "data_sources", "reports")
HEAVY = ("numpy", "scipy", "pandas", "matplotlib", "statsmodels", "meteostat", "requests", "babel")
NOT_FOR_FORECAST = (
    *("pandas", "scipy", "matplotlib", "statsmodels", "meteostat", "requests", "jinja2", "babel"),
    *("numpy.ma", "numpy.random", "numpy.polynomial", "tomlkit"),
    *("data_sources.journal.restoring", "data_sources.weather.store.weather_store"),
    *("phenology.language.words", "phenology.language.written_days", "phenology.weather.zonal_climate"),
    *("phenology.learning.club", "phenology.learning.phyllochron"),
)
"""What takes long to load, or is of no use where no leaf was counted and past years of weather are known."""


def modules(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def test_phenology_prints_nothing_opens_nothing_and_asks_no_clock() -> None:
    """What it may import is held by the contracts in pyproject.toml."""
    wrong = [
        f"{path.name} calls {ast.unparse(node.func)}"
        for path in modules("phenology")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and ast.unparse(node.func) in {"print", "open", "date.today", "datetime.now"}
    ]
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
    assert all(find_spec(name) for name in names if name.split(".")[0] in ROOMS), "one has another name now"
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
